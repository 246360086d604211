//! The one source of time.
//!
//! Elapsed time is monotonic and never bends; wall time is anchored to it once and moves with it.
//! A simulation gives its own anchor and runs on tokio's paused time, so that the same seed gives
//! the same timestamps on every run.

use std::time::Duration;

use chrono::{DateTime, Utc};
use tokio::time::Instant;

/// A moment: how long since the recording began, and the wall time then.
#[derive(Clone, Copy, Debug, PartialEq, Eq, PartialOrd, Ord)]
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

    /// Wall time at elapsed time zero.
    pub fn began(&self) -> DateTime<Utc> {
        self.began
    }

    /// This moment.
    pub fn now(&self) -> Stamp {
        self.at(Instant::now().saturating_duration_since(self.origin))
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
