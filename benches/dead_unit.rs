//! What one unit that never answers costs the live ones on its line: their polls that come late, or
//! not at all, beside the same line without it.
#![expect(
    clippy::unwrap_used,
    reason = "a benchmark that cannot go on should stop"
)]

mod common;
#[path = "../tests/it/played.rs"]
mod played;

use std::collections::HashMap;
use std::fmt::Write as _;
use std::io;
use std::process::ExitCode;
use std::time::Duration;

use common::Report;
use emberline::line::Pace;
use emberline::name::Name;
use emberline::sample::{Entry, State};
use emberline::setup::{LineSetup, Setup};
use mock_device::registers::counter::Counter;
use mock_device::wire::{Bus, Timing, in_memory};
use played::{Played, opener, paused};

const LIVE: usize = 30;
/// The number of the unit that is not there.
const DEAD: usize = 99;
const DEAD_LOOP: &str = "unit-99";
const POLLS: u32 = 600;
const BAUD: u32 = 19_200;
const TURNAROUND: Duration = Duration::from_millis(5);
/// A poll is late if it comes so much later after it was due than the same loop's polls do at the
/// latest on the line without the dead unit.
const BOUND: Duration = Duration::from_millis(50);
/// Share of the live units' polls.
const AT_MOST: f64 = 0.05;

const TITLE: &str = "A dead unit among 30 live ones: 19200 8E1, 600 polls each; late is more than 50 ms later than without it";
const COLUMNS: [&str; 8] = [
    "a poll",
    "line in use",
    "dead one stands",
    "live polls",
    "without it, skipped",
    "late",
    "skipped",
    "late or skipped",
];

fn main() -> ExitCode {
    let mut report = Report::new(TITLE, &COLUMNS);
    for poll in POLL {
        let without = Polls::of(&poll.setup(None));
        for (place, stands) in [(0, "first"), (LIVE / 2, "in the middle"), (LIVE, "last")] {
            let with = Polls::of(&poll.setup(Some(place)));
            let (late, skipped) = with.worse_than(&without);
            let share = f64::from(late + skipped) / f64::from(with.count());
            report.row([
                poll.what.to_owned(),
                format!("{:.0} %", 100.0 * without.line_share),
                stands.to_owned(),
                with.count().to_string(),
                without.skipped().to_string(),
                late.to_string(),
                skipped.to_string(),
                format!("{:.2} %", 100.0 * share),
            ]);
            let what = format!(
                "{}, {stands}: {:.1} % late or skipped",
                poll.what,
                100.0 * share
            );
            report.expect(share < AT_MOST, what);
            report.expect(with.count() == LIVE as u32 * POLLS, "rows are missing");
        }
    }
    report.print()
}

/// How the live units of a line were polled.
#[derive(Debug, Default)]
struct Polls {
    /// How long after it was due each poll of each loop came; `None` if it did not.
    after: HashMap<Name, Vec<Option<Duration>>>,
    /// Share of the line's time that all loops took, at the end.
    line_share: f64,
}

impl Polls {
    fn of(setup: &Setup) -> Self {
        paused().block_on(Self::play(setup))
    }

    async fn play(setup: &Setup) -> Self {
        let every = setup.loops[0].every;
        let mut wire = Some(plugged());
        let mut opener = |line: &LineSetup| {
            let mut wire = wire.take();
            opener(Pace::of(&line.port), move || wire.take())
        };
        let mut played = Played::begin(setup, &mut opener, every * POLLS, None).await;
        let (mut polls, mut shares) = (Self::default(), HashMap::new());
        while let Some(entry) = played.next().await {
            match entry {
                Entry::Sample(sample) if sample.of.as_str() != DEAD_LOOP => {
                    let after = polls.after.entry(sample.of).or_default();
                    let due = every * after.len() as u32;
                    let came = played.clock.now().elapsed.saturating_sub(due);
                    after.push((sample.state == State::Good).then_some(came));
                }
                Entry::Health(health) => drop(shares.insert(health.of, health.line_share)),
                _ => {}
            }
        }
        polls.line_share = shares.values().sum();
        polls
    }

    fn count(&self) -> u32 {
        self.after.values().map(Vec::len).sum::<usize>() as u32
    }

    fn skipped(&self) -> u32 {
        let all = self.after.values().flatten();
        all.filter(|after| after.is_none()).count() as u32
    }

    /// How many polls were late beside those of `without`, and how many more were skipped.
    fn worse_than(&self, without: &Self) -> (u32, u32) {
        let late = |(name, polls): (&Name, &Vec<Option<Duration>>)| {
            let latest = without.after[name].iter().flatten().max().unwrap();
            let is_late = |after: &&Duration| **after > *latest + BOUND;
            polls.iter().flatten().filter(is_late).count() as u32
        };
        let more = self.skipped().saturating_sub(without.skipped());
        (self.after.iter().map(late).sum(), more)
    }
}

fn plugged() -> tokio::io::DuplexStream {
    let units = 1..=LIVE as u8;
    let mut bus = units.fold(Bus::new(Vec::new()), |bus, unit| {
        bus.with_counter(unit, Counter::new(0, true))
    });
    bus.timing = Timing::at_baud(BAUD, TURNAROUND);
    in_memory(bus)
}

/// What is polled of each unit.
#[derive(Clone, Copy, Debug)]
struct Poll {
    what: &'static str,
    every: Duration,
    /// Addresses far apart, of so many registers each.
    blocks: &'static [(u16, u16)],
}

const POLL: [Poll; 3] = [
    Poll {
        what: "1 block a second",
        every: Duration::from_secs(1),
        blocks: &[(0, 4)],
    },
    Poll {
        what: "1 long block a second",
        every: Duration::from_secs(1),
        blocks: &[(0, 12)],
    },
    Poll {
        what: "3 blocks every 2 s",
        every: Duration::from_secs(2),
        blocks: &[(0, 2), (100, 3), (200, 4)],
    },
];

impl Poll {
    /// The live units, and the dead one at a place among them.
    fn setup(self, dead_at: Option<usize>) -> Setup {
        let mut units: Vec<usize> = (1..=LIVE).collect();
        if let Some(place) = dead_at {
            units.insert(place, DEAD);
        }
        let mut text = format!(
            "schema = 1\n[lines.line]\nserial = \"simulated\"\nbaud = {BAUD}\nparity = \"even\"\n"
        );
        let every = self.every.as_secs();
        for unit in units {
            write!(text, "[[loops]]\nname = \"unit-{unit}\"\nline = \"line\"\n").unwrap();
            writeln!(
                text,
                "unit_number = {unit}\nmap = \"map\"\nevery = \"{every} s\""
            )
            .unwrap();
        }
        let map = self.map();
        Setup::parse(&text, "dead", "dead", &|_| io::Result::Ok(map.clone())).unwrap()
    }

    fn map(self) -> String {
        let mut text = "schema = 1\ntitle = \"Words\"\n[access]\nmax_words = 125\n".to_owned();
        let blocks = self.blocks.iter();
        for address in blocks.flat_map(|(first, count)| *first..first + count) {
            let role = if address == 0 {
                "process-value"
            } else {
                "other"
            };
            write!(
                text,
                "[points.p{address}]\nrole = \"{role}\"\ntable = \"holding\"\n"
            )
            .unwrap();
            writeln!(text, "address = {address}\nencoding = \"u16\"").unwrap();
        }
        text
    }
}
