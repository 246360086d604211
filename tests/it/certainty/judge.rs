//! Every value of a trial against what its unit knows: is it this register's, and the answer to the
//! latest request for it?

use std::collections::BTreeMap;
use std::ops::Range;
use std::time::Duration;

use emberline::clock::Clock;
use emberline::map::{Place, Point, Table};
use emberline::name::Name;
use emberline::sample::{Entry, Reading, State};
use emberline::setup::{LoopSetup, Setup};
use mock_device::registers::Words;
use mock_device::registers::counter::{Counter, Pair, Told};
use tokio::time::Instant;

/// What a trial came to.
#[derive(Clone, Debug, Default)]
pub(super) struct Verdict {
    /// Samples, one for each scheduled poll.
    pub(super) polls: u64,
    /// Samples with every point.
    pub(super) good: u64,
    /// Values looked at, of samples and of slow points.
    pub(super) values: u64,
    /// Values of another register or another unit.
    pub(super) wrong_register: u64,
    /// Values of the right register, but an answer to an older request.
    pub(super) old_answer: u64,
    /// Readings that did not come, by reason.
    pub(super) absent: BTreeMap<&'static str, u64>,
}

impl Verdict {
    /// Values that are not what they were recorded as.
    pub(super) fn wrong(&self) -> u64 {
        self.wrong_register + self.old_answer
    }
}

/// What the judge knows of one loop.
#[derive(Debug)]
struct Watched {
    the_loop: LoopSetup,
    counter: Counter,
    mark: u8,
    polls: u32,
}

/// Looks at entries as they come.
#[derive(Debug)]
pub(super) struct Judge {
    clock: Clock,
    listens: bool,
    loops: BTreeMap<Name, Watched>,
    verdict: Verdict,
}

/// A row that is listened for may have been asked for so long before it is due; late answers come
/// later.
const AHEAD: Duration = Duration::from_millis(5);

impl Judge {
    /// A judge of the loops of `setup`; `counters` are their units, in the same order, each marked
    /// with its place.
    pub(super) fn new(setup: &Setup, counters: &[Counter], clock: Clock) -> Self {
        let watched = |(mark, (the_loop, counter)): (usize, (&LoopSetup, &Counter))| {
            let watched = Watched {
                the_loop: the_loop.clone(),
                counter: counter.clone(),
                mark: mark as u8,
                polls: 0,
            };
            (the_loop.name.clone(), watched)
        };
        let both = setup.loops.iter().zip(counters);
        Self {
            clock,
            listens: false,
            loops: both.enumerate().map(watched).collect(),
            verdict: Verdict::default(),
        }
    }

    /// A judge of rows that come from another master's reads, each of the time from when it is due to
    /// when the next one is. Of slow points it cannot tell how old they may be.
    pub(super) fn of_listener(setup: &Setup, counters: &[Counter], clock: Clock) -> Self {
        Self {
            listens: true,
            ..Self::new(setup, counters, clock)
        }
    }

    /// Looks at one entry, at the time it comes.
    pub(super) fn look(&mut self, entry: &Entry) {
        match entry {
            Entry::Sample(sample) => {
                let Some(watched) = self.loops.get_mut(&sample.of) else {
                    return;
                };
                let due = watched.the_loop.every * watched.polls;
                watched.polls += 1;
                self.verdict.polls += 1;
                self.verdict.good += u64::from(sample.state == State::Good);
                let due = self.clock.instant(due);
                let asked = if self.listens {
                    Asked::Within(due - AHEAD..due + watched.the_loop.every)
                } else {
                    Asked::Last(due)
                };
                let points = watched.the_loop.map.trend_points();
                for (point, reading) in points.zip(sample.readings.iter()) {
                    watched.judge(point, reading, &asked, &mut self.verdict);
                }
            }
            Entry::Settings(settings) => {
                let Some(watched) = self.loops.get(&settings.of) else {
                    return;
                };
                let began = self.clock.instant(Duration::ZERO);
                let asked = if self.listens {
                    Asked::Within(began..Instant::now())
                } else {
                    Asked::Last(began)
                };
                let points = watched.the_loop.map.settings_points();
                for (point, reading) in points.zip(settings.readings.iter()) {
                    watched.judge(point, reading, &asked, &mut self.verdict);
                }
            }
            Entry::Event(_) | Entry::Health(_) => {}
        }
    }

    /// What it came to.
    pub(super) fn verdict(self) -> Verdict {
        self.verdict
    }
}

/// Which request a value may answer.
#[derive(Debug)]
enum Asked {
    /// The latest, made then or later.
    Last(Instant),
    /// One made in this time.
    Within(Range<Instant>),
}

impl Watched {
    fn judge(&self, point: &Point, reading: &Reading, asked: &Asked, verdict: &mut Verdict) {
        let number = match reading {
            Reading::Good(number) => number.as_f64() as u32,
            Reading::Fault(_) => return,
            Reading::Absent(why) => {
                *verdict.absent.entry(why.word()).or_default() += 1;
                return;
            }
        };
        verdict.values += 1;
        let told = Told::by(number);
        let pair = pair(point.place);
        let answered = self.counter.numbered(told.running_number);
        let is_meant = answered.is_some_and(|answered| match asked {
            Asked::Last(not_before) => {
                let latest = self.counter.last_asked(pair, Instant::now());
                latest == Some(answered) && answered.at >= *not_before
            }
            Asked::Within(time) => time.contains(&answered.at) && answered.covers(pair),
        });
        if told.mark != self.mark || told.pair != pair {
            verdict.wrong_register += 1;
        } else if !is_meant {
            verdict.old_answer += 1;
        }
    }
}

fn pair(place: Place) -> Pair {
    let table = match place.table {
        Table::Input => Words::Input,
        Table::Holding | Table::Coil | Table::Discrete => Words::Holding,
    };
    let address = place.address.0;
    Pair { table, address }
}
