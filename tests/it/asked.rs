//! What people ask of a line while it is polled, on paused time.

use std::fmt::Write as _;
use std::io;
use std::time::Duration;

use emberline::clock::Clock;
use emberline::line::{Ask, Came, LoopSeen, Manner, Pace, Start};
use emberline::map::Role;
use emberline::sample::Entry;
use emberline::session::{Opening, Session};
use emberline::setup::{LineSetup, Setup, UnitId};
use mock_device::registers::{Annealer, Layout as _};
use mock_device::wire::{Bus, Timing, Unit, in_memory};
use mock_device::{LEFT_OVER_TUNING, Oven, Panel};
use tokio::sync::oneshot;
use tokio::time::Instant;
use tokio_util::sync::CancellationToken;

use super::played::opener;

/// Three annealers on one line at 9600 baud, polled so often.
fn setup(every: &str) -> Setup {
    let mut text = "schema = 1\n[lines.shop]\nserial = \"bench\"\n".to_owned();
    for unit in 1..=3 {
        writeln!(
            text,
            "[[loops]]\nname = \"oven-{unit}\"\nline = \"shop\"\nunit_number = {unit}\n\
             map = \"map\"\nevery = \"{every}\""
        )
        .unwrap();
    }
    let map = |_: &str| io::Result::Ok(Annealer.map_text().to_owned());
    Setup::parse(&text, "bench", "bench", &map).unwrap()
}

/// Polls for a minute and asks for a unit in the middle of it: the answer, how long it took, and
/// everything that was polled.
async fn asked(setup: &Setup, manner: Manner, unit: u8) -> Asked {
    let unit_of = |number: u8| {
        let panel = Panel::new(Oven::settled_at(490.0, LEFT_OVER_TUNING, 1), 1.0);
        Unit::new(number, &Annealer, panel)
    };
    let mut bus = Bus::new((1..=3).map(unit_of).collect());
    bus.timing = Timing::at_baud(9600, Duration::from_millis(5));
    let mut wire = Some(in_memory(bus));
    let mut opener = |line: &LineSetup| {
        let mut wire = wire.take();
        opener(Pace::of(&line.port), move || wire.take())
    };
    let mut opening = Opening::new(setup, manner, &mut opener, &CancellationToken::new());
    for line in std::mem::take(&mut opening.lines) {
        tokio::spawn(line);
    }
    opening.wait(|_| {}).await.unwrap();
    let start = Start {
        end: Some(Duration::from_mins(1)),
        ..Start::of(Clock::starting_at(chrono::DateTime::UNIX_EPOCH))
    };
    let session: Session = opening.begin(setup, start, None);
    let mut entries = session.live.subscribe();
    drop(session.live);
    tokio::spawn(session.hub);
    let asks = session.asks.values().next().unwrap().clone();
    drop(session.asks);
    tokio::time::sleep(Duration::from_millis(30_150)).await;
    let began = Instant::now();
    let (reply, answer) = oneshot::channel();
    let ask = Ask::Read(UnitId::new(unit).unwrap(), reply);
    asks.send(ask).await.unwrap();
    let came = answer.await.unwrap();
    let took = began.elapsed();
    let mut all = Vec::new();
    while let Ok(entry) = entries.recv().await {
        all.push(entry);
    }
    Asked { came, took, all }
}

struct Asked {
    came: Result<Came, String>,
    took: Duration,
    all: Vec<Entry>,
}

impl Asked {
    fn states(&self) -> Vec<&'static str> {
        let states = self.all.iter().filter_map(|entry| match entry {
            Entry::Sample(sample) => Some(sample.state.word()),
            _ => None,
        });
        states.collect()
    }
}

#[tokio::test(start_paused = true)]
async fn a_unit_is_read_at_once_and_no_poll_is_missed_for_it() {
    let setup = setup("10 s");
    let asked = asked(&setup, Manner::Ask, 2).await;
    let seen = LoopSeen::of(&setup.loops[1], asked.came.clone().unwrap());
    assert!(seen.answered && seen.failures.is_empty(), "{seen:?}");
    let points = setup.loops[1].map.points.iter().zip(&seen.points);
    for (point, seen) in points {
        assert!(seen.raw.is_some(), "{}", point.name);
        if point.role == Role::Setpoint {
            assert_eq!(seen.reading.value(), Some(490.0));
        }
    }
    // The next poll would have been due ten seconds on.
    assert!(asked.took < Duration::from_secs(1), "{:?}", asked.took);
    assert_eq!(asked.states(), ["good"; 18]);
}

#[tokio::test(start_paused = true)]
async fn on_a_line_without_a_moment_to_spare_a_person_goes_first() {
    // A poll of one unit alone takes longer than this.
    let asked = asked(&setup("50 ms"), Manner::Ask, 3).await;
    assert!(asked.came.unwrap().answered);
    assert!(asked.took < Duration::from_secs(1), "{:?}", asked.took);
}

#[tokio::test(start_paused = true)]
async fn what_is_not_polled_or_only_listened_to_is_not_asked() {
    let setup = setup("1 s");
    let elsewhere = asked(&setup, Manner::Ask, 9).await;
    assert!(elsewhere.came.unwrap_err().contains("unit 9"));
    let listening = asked(&setup, Manner::ListenOnly, 1).await;
    assert!(listening.came.unwrap_err().contains("only listened to"));
}
