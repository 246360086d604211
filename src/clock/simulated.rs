//! A machine that exists only in a simulation.

use std::sync::{Arc, Mutex, MutexGuard, PoisonError};
use std::time::Duration;

use chrono::{DateTime, TimeDelta, Utc};
use tokio::time::Instant;

use super::machine::Machine;

/// A machine whose clocks go with tokio's time and do as a test says.
#[derive(Debug)]
pub struct Simulated {
    tells_sleep: bool,
    clocks: Mutex<Clocks>,
}

#[derive(Clone, Copy, Debug)]
struct Clocks {
    /// What they said at `at`.
    at: Instant,
    wall: DateTime<Utc>,
    since_boot: Duration,
    /// What the wall clock gains, parts in a million.
    gains_ppm: f64,
}

impl Clocks {
    fn now(self) -> Self {
        let (at, since) = (Instant::now(), self.at.elapsed());
        let gained = since.as_secs_f64() * self.gains_ppm * 1e-6;
        let gained = TimeDelta::nanoseconds((gained * 1e9).round() as i64);
        Self {
            at,
            wall: self.wall + since + gained,
            since_boot: self.since_boot + since,
            ..self
        }
    }
}

impl Simulated {
    /// A machine whose wall clock says `wall` now.
    pub fn starting_at(wall: DateTime<Utc>) -> Arc<Self> {
        Self::new(wall, true)
    }

    /// The same, but it has no clock that goes on in sleep.
    pub fn that_cannot_tell_sleep(wall: DateTime<Utc>) -> Arc<Self> {
        Self::new(wall, false)
    }

    fn new(wall: DateTime<Utc>, tells_sleep: bool) -> Arc<Self> {
        let clocks = Clocks {
            at: Instant::now(),
            wall,
            since_boot: Duration::ZERO,
            gains_ppm: 0.0,
        };
        Arc::new(Self {
            tells_sleep,
            clocks: Mutex::new(clocks),
        })
    }

    /// Sets the wall clock forward, or back.
    pub fn set_clock(&self, by: TimeDelta) {
        self.now().wall += by;
    }

    /// Sleeps, in no time: timers stand still, the clocks do not.
    pub fn sleep(&self, length: Duration) {
        let mut clocks = self.now();
        clocks.wall += length;
        clocks.since_boot += length;
    }

    /// Lets the wall clock gain so many parts in a million from now on.
    pub fn gain(&self, ppm: f64) {
        self.now().gains_ppm = ppm;
    }

    fn now(&self) -> MutexGuard<'_, Clocks> {
        let mut clocks = self.clocks.lock().unwrap_or_else(PoisonError::into_inner);
        *clocks = clocks.now();
        clocks
    }
}

impl Machine for Simulated {
    fn wall(&self) -> DateTime<Utc> {
        self.now().wall
    }

    fn since_boot(&self) -> Option<Duration> {
        self.tells_sleep.then(|| self.now().since_boot)
    }
}
