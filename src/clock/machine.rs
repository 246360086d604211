//! The clocks of a machine, which others may set and which may stand still.

use std::fmt::Debug;
use std::time::{Duration, SystemTime};

use chrono::{DateTime, Utc};
use tokio::time::Instant;

/// A reading that took longer is no reading of one moment.
const AT_ONCE: Duration = Duration::from_millis(20);
/// How often it is tried.
const TRIES: u32 = 5;

/// A machine's clocks beside the one that timers run on.
pub trait Machine: Debug + Send + Sync {
    /// The wall clock, which people and time servers set.
    fn wall(&self) -> DateTime<Utc>;

    /// Time since some fixed moment, which goes on while the machine sleeps and which nobody sets;
    /// `None` where the system has none, or timers go on in sleep as well.
    fn since_boot(&self) -> Option<Duration>;
}

/// The one that this program runs on.
#[derive(Debug)]
pub struct ThisMachine;

impl Machine for ThisMachine {
    fn wall(&self) -> DateTime<Utc> {
        // Not `Utc::now`, which panics on a date before 1970.
        #[expect(clippy::disallowed_methods, reason = "this is the clock")]
        SystemTime::now().into()
    }

    fn since_boot(&self) -> Option<Duration> {
        since_boot()
    }
}

/// clock_gettime(2): `CLOCK_BOOTTIME` counts suspend, `CLOCK_MONOTONIC` does not.
#[cfg(any(target_os = "linux", target_os = "android"))]
fn since_boot() -> Option<Duration> {
    use rustix::time::{ClockId, clock_gettime};
    clock_gettime(ClockId::Boottime).try_into().ok()
}

/// clock_gettime(3) of Darwin: `CLOCK_MONOTONIC` counts sleep; instants are `CLOCK_UPTIME_RAW`, which
/// does not. The two differ by what time servers correct, so little between two looks that it counts
/// for nothing.
#[cfg(target_vendor = "apple")]
fn since_boot() -> Option<Duration> {
    use rustix::time::{ClockId, clock_gettime};
    clock_gettime(ClockId::Monotonic).try_into().ok()
}

/// On Windows instants go on in sleep; of other systems nothing is known.
#[cfg(not(any(target_os = "linux", target_os = "android", target_vendor = "apple")))]
fn since_boot() -> Option<Duration> {
    None
}

/// What the clocks say at one moment.
#[derive(Clone, Copy, Debug)]
pub(super) struct Reading {
    pub(super) at: Instant,
    pub(super) wall: DateTime<Utc>,
    pub(super) since_boot: Option<Duration>,
}

/// What they say; `None` if they could not be read at one moment, because something came between.
pub(super) fn read_at_once(machine: &dyn Machine) -> Option<Reading> {
    (0..TRIES).find_map(|_| {
        let (reading, took) = timed(machine);
        (took <= AT_ONCE).then_some(reading)
    })
}

/// What they say, if need be one after the other.
pub(super) fn read(machine: &dyn Machine) -> Reading {
    read_at_once(machine).unwrap_or_else(|| timed(machine).0)
}

fn timed(machine: &dyn Machine) -> (Reading, Duration) {
    let (before, began) = (machine.since_boot(), Instant::now());
    let wall = machine.wall();
    let (at, since_boot) = (Instant::now(), machine.since_boot());
    let took = before.zip(since_boot).map_or_else(
        || at.saturating_duration_since(began),
        |(before, after)| after.saturating_sub(before),
    );
    let reading = Reading {
        at,
        wall,
        since_boot,
    };
    (reading, took)
}
