//! The one source of time.
//!
//! - `elapsed` is real time since the recording began. It never bends, never goes back, and goes on
//!   while the machine sleeps, so that polls stay on one grid: those that fell into the sleep are rows
//!   that say `not-running`.
//! - `time` is what the system's clock says, to half a second. It is anchored to elapsed time, and
//!   anchored anew as soon as the two have come [`ANCHORED_WITHIN`] apart, however that came: somebody
//!   set the clock, a small computer without a clock of its own heard from a time server, or a clock
//!   that gains 500 ppm did so for a quarter of an hour. Each time is a [`Change`], which says what a
//!   row's `time` must be corrected by: `time` is a function of `elapsed`, with steps.
//!
//! Timers run on tokio's `Instant`, which on Linux and macOS stands still in suspend. A sleep is seen
//! where the system has a clock that does not ([`Machine::since_boot`]); where it has none, and its
//! `Instant` stands still, a sleep cannot be told from a clock that was set forward, and is taken for
//! that. A program that was stopped is seen by nobody having looked at the clock for
//! [`STOPPED_AFTER`]; Windows, whose `Instant` goes on in suspend, shows a sleep that way.
//!
//! A downtime whose length nobody knows, because the system's clock says less after it than the last
//! row before it, is not in elapsed time.
//!
//! A simulation has no machine, or a [`Simulated`] one, and runs on tokio's paused time, so that the
//! same seed gives the same timestamps on every run.

mod course;
mod machine;
mod simulated;

use std::sync::Arc;
use std::time::Duration;

use chrono::{DateTime, Utc};
use tokio::sync::watch;
use tokio::time::{Instant, sleep};

pub use course::{ANCHORED_WITHIN, Change, STOPPED_AFTER};
use course::{Course, Stretch};
pub use machine::{Machine, ThisMachine};
pub use simulated::Simulated;

/// How often somebody looks at a machine's clocks at least: seldom more than polls once a second do.
const LOOK_EVERY: Duration = Duration::from_secs(2);

/// A moment: how long since the recording began, and the wall time then. Ordered by elapsed time.
#[derive(Clone, Copy, Debug, Default, PartialEq, Eq, PartialOrd, Ord)]
pub struct Stamp {
    /// Time since the recording (or the watching) began.
    pub elapsed: Duration,
    /// Wall time, UTC.
    pub time: DateTime<Utc>,
}

/// Where time comes from; cheap to clone, passed in everywhere. Clones are one clock.
#[derive(Clone, Debug)]
pub struct Clock {
    course: Arc<watch::Sender<Course>>,
    /// Whose clocks are looked at; none in a simulation whose wall clock never errs.
    machine: Option<Arc<dyn Machine>>,
    began: DateTime<Utc>,
}

impl Clock {
    /// This machine's clock, beginning now.
    pub fn of_this_machine() -> Self {
        Self::on(Arc::new(ThisMachine))
    }

    /// A machine's clock, beginning now.
    pub fn on(machine: Arc<dyn Machine>) -> Self {
        let reading = machine::read(&*machine);
        let course = Course::beginning(Stretch::beginning(reading.at, reading.wall)).seen(reading);
        Self::new(course, Some(machine), reading.wall)
    }

    /// A clock whose elapsed time begins now and whose wall time is `began` at that moment; no
    /// machine's clock is looked at.
    pub fn starting_at(began: DateTime<Utc>) -> Self {
        let course = Course::beginning(Stretch::beginning(Instant::now(), began));
        Self::new(course, None, began)
    }

    /// The clock of a recording that began at `began` and has come to `last`, on `machine`: as much
    /// time has gone by since as the machine's wall clock says, or none if it says less than `last`.
    pub fn going_on(machine: Arc<dyn Machine>, began: DateTime<Utc>, last: Stamp) -> Self {
        let reading = machine::read(&*machine);
        let gap = (reading.wall - last.time).to_std().unwrap_or_default();
        let mut course = Course::beginning(Stretch::going_on(reading.at, last, gap));
        course.take(reading);
        Self::new(course, Some(machine), began)
    }

    fn new(course: Course, machine: Option<Arc<dyn Machine>>, began: DateTime<Utc>) -> Self {
        Self {
            course: Arc::new(watch::Sender::new(course)),
            machine,
            began,
        }
    }

    /// Wall time at elapsed time zero, as it was thought then.
    pub fn began(&self) -> DateTime<Utc> {
        self.began
    }

    /// This moment.
    pub fn now(&self) -> Stamp {
        self.look();
        self.of(Instant::now())
    }

    /// Looks whether the machine slept or its clock was set. [`Clock::now`] does; whoever is about to
    /// turn elapsed time into instants should.
    pub fn look(&self) {
        if let Some(machine) = &self.machine {
            // Read under the lock, so that no two looks are taken in the wrong order.
            self.course.send_if_modified(|course| {
                machine::read_at_once(&**machine).is_some_and(|it| course.take(it))
            });
        }
    }

    /// The moment of a timer's instant. An instant between the last look and a sleep counts as before
    /// the sleep.
    pub fn of(&self, instant: Instant) -> Stamp {
        self.course.borrow().of(instant)
    }

    /// The moment `elapsed` after the beginning.
    pub fn at(&self, elapsed: Duration) -> Stamp {
        let time = self.course.borrow().time(elapsed);
        Stamp { elapsed, time }
    }

    /// The instant for timers `elapsed` after the beginning; for a moment in a sleep its end.
    pub fn instant(&self, elapsed: Duration) -> Instant {
        self.course.borrow().instant(elapsed)
    }

    /// Whether some of the time between these two, since the beginning, was slept through or stopped.
    pub fn was_away(&self, from: Duration, to: Duration) -> bool {
        self.course.borrow().was_away(from, to)
    }

    /// What becomes of the machine's clocks, from the beginning on.
    pub fn changes(&self) -> Changes {
        Changes {
            seen: 0,
            clock: self.clone(),
            course: self.course.subscribe(),
        }
    }
}

/// Tells changes as they come, each once.
#[derive(Debug)]
pub struct Changes {
    seen: u64,
    clock: Clock,
    course: watch::Receiver<Course>,
}

impl Changes {
    /// Those that have not been told, in order.
    pub fn take(&mut self) -> Vec<Change> {
        self.clock.look();
        let course = self.course.borrow_and_update();
        let new = course.changes_from(self.seen);
        self.seen = course.count();
        new
    }

    /// Waits until it is time to look for some; never, where no machine's clocks are looked at.
    /// Nothing is lost if the wait is given up.
    pub async fn due(&self) {
        if self.clock.machine.is_none() {
            return std::future::pending().await;
        }
        sleep(LOOK_EVERY).await;
    }

    /// Waits until somebody has seen one; for whoever sleeps by a timer that does not know of it.
    /// Nothing is lost if the wait is given up.
    pub async fn seen(&mut self) {
        // The sender is in the clock beside it.
        let _ = self.course.changed().await;
    }
}

/// Time on the wall, also where tokio's time is paused: how long something took the machine.
#[derive(Clone, Copy, Debug)]
pub struct Stopwatch(std::time::Instant);

impl Stopwatch {
    /// Begins now.
    pub fn start() -> Self {
        #[expect(clippy::disallowed_methods, reason = "this is the clock")]
        Self(std::time::Instant::now())
    }

    /// Time since the start.
    pub fn elapsed(&self) -> Duration {
        self.0.elapsed()
    }
}

#[cfg(test)]
mod tests;
