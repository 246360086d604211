//! The one source of time.
//!
//! Elapsed time is monotonic and never bends; wall time is anchored to it once and moves with it.
//! A simulation gives its own anchor and runs on tokio's paused time, so that the same seed gives
//! the same timestamps on every run.

use std::time::Duration;

use chrono::{DateTime, Utc};
use tokio::time::Instant;

/// A moment: how long since the recording began, and the wall time then.
#[derive(Clone, Copy, Debug, Default, PartialEq, Eq, PartialOrd, Ord)]
pub struct Stamp {
    /// Time since the recording (or the watching) began; monotonic.
    pub elapsed: Duration,
    /// Wall time, UTC.
    pub time: DateTime<Utc>,
}

/// Where time comes from; cheap to copy, passed in everywhere.
#[derive(Clone, Copy, Debug)]
pub struct Clock {
    origin: Instant,
    began: DateTime<Utc>,
}

impl Clock {
    /// The machine's clock, anchored now.
    pub fn of_this_machine() -> Self {
        #[expect(clippy::disallowed_methods, reason = "this is the clock")]
        let began = Utc::now();
        Self::starting_at(began)
    }

    /// A clock whose elapsed time begins now and whose wall time is `began` at that moment.
    pub fn starting_at(began: DateTime<Utc>) -> Self {
        Self {
            origin: Instant::now(),
            began,
        }
    }

    /// A clock that began at `began` in the past: elapsed time has been going on since.
    pub fn began_at(began: DateTime<Utc>) -> Self {
        #[expect(clippy::disallowed_methods, reason = "this is the clock")]
        let since = (Utc::now() - began).to_std().unwrap_or_default();
        // Some systems have no instants from before they were started.
        let origin = Instant::now()
            .checked_sub(since)
            .unwrap_or_else(Instant::now);
        Self { origin, began }
    }

    /// A clock that began at `began` in the past and has come at least so far; where the wall clock
    /// says less, its elapsed time goes on from there. And how much the wall clock lacks.
    pub fn going_on(began: DateTime<Utc>, at_least: Duration) -> (Self, Duration) {
        let clock = Self::began_at(began);
        let missing = at_least.saturating_sub(clock.now().elapsed);
        let origin = clock.origin.checked_sub(missing).unwrap_or(clock.origin);
        (Self { origin, began }, missing)
    }

    /// Wall time at elapsed time zero.
    pub fn began(&self) -> DateTime<Utc> {
        self.began
    }

    /// This moment.
    pub fn now(&self) -> Stamp {
        self.of(Instant::now())
    }

    /// The moment of a timer's instant.
    pub fn of(&self, instant: Instant) -> Stamp {
        self.at(instant.saturating_duration_since(self.origin))
    }

    /// The moment `elapsed` after the beginning.
    pub fn at(&self, elapsed: Duration) -> Stamp {
        Stamp {
            elapsed,
            time: self.began + elapsed,
        }
    }

    /// The instant for timers `elapsed` after the beginning.
    pub fn instant(&self, elapsed: Duration) -> Instant {
        self.origin + elapsed
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
