//! Loops of one line beside a unit that does not answer: it holds nobody up, and is back when it
//! answers.

use std::fmt::Write as _;
use std::io;
use std::time::Duration;

use emberline::line::Pace;
use emberline::sample::{Entry, State};
use emberline::setup::{LineSetup, Setup};
use mock_device::wire::sealed;
use tokio::io::{AsyncReadExt as _, AsyncWriteExt as _, DuplexStream};
use tokio::time::{Instant, sleep};

use crate::played::{Played, opener, paused};

/// The unit that does not answer stands first on the line.
const SILENT: u8 = 1;

/// How the units answer.
#[derive(Clone, Copy, Debug)]
struct Answers {
    /// From then on the silent one answers too.
    back_at: Duration,
    /// How long it takes then.
    back_after: Duration,
    /// How long the others take.
    others_after: Duration,
}

/// A sample: whose, when it was due since the beginning, how long after that it came, whether it was
/// good.
#[derive(Clone, Copy, Debug)]
struct Poll {
    unit: u8,
    due: Duration,
    after: Duration,
    is_good: bool,
}

fn ms(count: u64) -> Duration {
    Duration::from_millis(count)
}

/// One register of each unit, each polled so often.
fn setup(units: &[(u8, Duration)]) -> Setup {
    let mut text = "schema = 1\n[lines.line]\nserial = \"simulated\"\nbaud = 19200\n".to_owned();
    for (unit, every) in units {
        write!(text, "[[loops]]\nname = \"unit-{unit}\"\nline = \"line\"\n").unwrap();
        let every = every.as_millis();
        writeln!(
            text,
            "unit_number = {unit}\nmap = \"map\"\nevery = \"{every} ms\""
        )
        .unwrap();
    }
    let map = "schema = 1\ntitle = \"One register\"\n[points.pv]\nrole = \"process-value\"\n\
               table = \"holding\"\naddress = 0\nencoding = \"u16\"\n";
    Setup::parse(&text, "line", "line", &|_| io::Result::Ok(map.to_owned())).unwrap()
}

async fn serve(mut wire: DuplexStream, answers: Answers) {
    let (began, mut request) = (Instant::now(), [0; 8]);
    while wire.read_exact(&mut request).await.is_ok() {
        let unit = request[0];
        let is_there = unit != SILENT || began.elapsed() >= answers.back_at;
        if !is_there {
            continue;
        }
        let after = if unit == SILENT {
            answers.back_after
        } else {
            answers.others_after
        };
        sleep(after).await;
        if wire
            .write_all(&sealed(vec![unit, 3, 2, 0, unit]))
            .await
            .is_err()
        {
            return;
        }
    }
}

/// Everything that comes of polling `units` for so long.
fn polled(units: &[(u8, Duration)], answers: Answers, length: Duration) -> Vec<Poll> {
    let setup = setup(units);
    paused().block_on(async {
        let (ours, theirs) = tokio::io::duplex(256);
        tokio::spawn(serve(theirs, answers));
        let mut ours = Some(ours);
        let mut opener = |line: &LineSetup| {
            let mut wire = ours.take();
            opener(Pace::of(&line.port), move || wire.take())
        };
        let mut played = Played::begin(&setup, &mut opener, length, None).await;
        let mut polls = [0; 256];
        let mut all = Vec::new();
        while let Some(entry) = played.next().await {
            let Entry::Sample(sample) = entry else {
                continue;
            };
            let the_loop = setup.loops.iter().find(|it| it.name == sample.of).unwrap();
            let unit = the_loop.unit.get();
            let due = the_loop.every * polls[usize::from(unit)];
            all.push(Poll {
                unit,
                due,
                after: played.clock.now().elapsed.saturating_sub(due),
                is_good: sample.state == State::Good,
            });
            polls[usize::from(unit)] += 1;
        }
        all
    })
}

/// When the silent unit's first good sample came.
fn back(all: &[Poll]) -> Duration {
    let first = all.iter().find(|it| it.unit == SILENT && it.is_good);
    first.map_or(Duration::MAX, |it| it.due + it.after)
}

const NEVER: Answers = Answers {
    back_at: Duration::MAX,
    back_after: Duration::ZERO,
    others_after: Duration::from_millis(10),
};

#[test]
fn a_unit_known_to_be_silent_holds_nobody_up() {
    let units: Vec<(u8, Duration)> = (1..=6).map(|unit| (unit, ms(1000))).collect();
    let all = polled(&units, NEVER, ms(200_000));
    let others = all.iter().filter(|it| it.unit != SILENT);
    for poll in others.filter(|it| it.due >= ms(4000)) {
        // Five polls of 12 ms and a little.
        assert!(poll.is_good && poll.after < ms(100), "{poll:?}");
    }
    assert_eq!(all.iter().filter(|it| it.unit == SILENT).count(), 200);
}

#[test]
fn a_unit_known_to_be_silent_takes_more_time_than_others_leave_it_only_every_fourth_time() {
    let units: Vec<(u8, Duration)> = (1..=6).map(|unit| (unit, ms(1000))).collect();
    let slow = Answers {
        others_after: ms(100),
        ..NEVER
    };
    // Asked at 4, 8, 16, 32 s and then every 30 s, and given the usual half second at 32, 152, 272.
    let all = polled(&units, slow, ms(300_000));
    let next_in_line = all.iter().filter(|it| it.unit == 2 && it.due >= ms(4000));
    let late: Vec<u64> = next_in_line
        .filter(|it| it.after > ms(120))
        .map(|it| it.due.as_secs())
        .collect();
    assert_eq!(late, [33, 153, 273]);
}

#[test]
fn a_silent_unit_is_back_within_its_pause_of_half_a_minute() {
    let units: Vec<(u8, Duration)> = (1..=6).map(|unit| (unit, ms(1000))).collect();
    let answers = Answers {
        back_at: ms(100_000),
        ..NEVER
    };
    let all = polled(&units, answers, ms(140_000));
    let back = back(&all);
    assert!(ms(100_000) < back && back < ms(131_000), "{back:?}");
    let later = all.iter().filter(|it| it.unit == SILENT && it.due > back);
    assert!(later.clone().count() > 5 && later.clone().all(|it| it.is_good));
}

#[test]
fn a_silent_unit_that_is_slower_than_the_room_it_is_left_is_back_all_the_same() {
    let units = [(SILENT, ms(1000)), (2, ms(200))];
    let answers = Answers {
        back_at: ms(60_000),
        back_after: ms(300),
        ..NEVER
    };
    let back = back(&polled(&units, answers, ms(240_000)));
    assert!(ms(60_000) < back && back < ms(185_000), "{back:?}");
}

#[test]
fn a_silent_unit_is_asked_now_and_then_on_a_line_that_has_no_time_left() {
    let units = [(SILENT, ms(1000)), (2, ms(10))];
    let answers = Answers {
        back_at: ms(60_000),
        ..NEVER
    };
    let back = back(&polled(&units, answers, ms(160_000)));
    assert!(ms(60_000) < back && back < ms(125_000), "{back:?}");
}
