//! How fast the simulated time goes by.

use std::time::Duration;

use crate::clock::Stopwatch;

/// How fast the simulated time goes by.
#[derive(Clone, Copy, Debug, PartialEq)]
pub enum Pace {
    /// As fast as this machine can.
    Fastest,
    /// So many times as fast as the clock on the wall.
    Times(f64),
}

/// Time on the wall between two holds.
const STEP: Duration = Duration::from_millis(50);

/// Holds the simulation back to `pace`; never ends.
///
/// Paused time jumps to the next timer at once. This task's timer is one of them, and by blocking the
/// simulation's only thread in between it lets the wall clock catch up.
pub(super) async fn keep(pace: Pace) {
    let Pace::Times(times) = pace else {
        return std::future::pending().await;
    };
    let watch = Stopwatch::start();
    for step in 1u32.. {
        tokio::time::sleep(STEP.mul_f64(times)).await;
        let ahead = (STEP * step).saturating_sub(watch.elapsed());
        std::thread::sleep(ahead);
    }
}
