//! How fast a recording grows, and for how long there is room.

use std::time::Duration;

use super::waiting::ROW_EXTRA;
use crate::setup::Setup;

/// A day.
pub(super) const DAY: Duration = Duration::from_hours(24);
/// Before this the rate is worked out from the setup: too little was written to tell.
const MEASURED_FROM: Duration = Duration::from_mins(1);
/// Bytes of a usual cell, and of time, elapsed time and state.
const CELL: usize = 6;
const FIXED_CELLS: usize = 45;

/// How fast a recording grows.
#[derive(Debug)]
pub(super) struct Growth {
    rows_per_s: f64,
    /// Bytes a second, worked out from the setup.
    expected: f64,
    written: u64,
    since: Duration,
}

impl Growth {
    /// Of a recording that is written from `since` on.
    pub(super) fn of(setup: &Setup, since: Duration) -> Self {
        let per_s = |bytes: usize, every: Duration| bytes as f64 / every.as_secs_f64();
        let loops = || setup.loops.iter();
        let row = |points: usize| FIXED_CELLS + CELL * points;
        Self {
            rows_per_s: loops().map(|it| per_s(1, it.every)).sum(),
            expected: loops()
                .map(|it| per_s(row(it.map.trend_points().count()), it.every))
                .sum(),
            written: 0,
            since,
        }
    }

    /// Counts from here on.
    pub(super) fn begin(&mut self) {
        self.written = 0;
    }

    pub(super) fn on_written(&mut self, bytes: usize) {
        self.written += bytes as u64;
    }

    /// Bytes a day, up to now.
    pub(super) fn bytes_a_day(&self, now: Duration) -> f64 {
        DAY.as_secs_f64() * self.bytes_per_s(now)
    }

    fn bytes_per_s(&self, now: Duration) -> f64 {
        let so_far = now.saturating_sub(self.since);
        if so_far < MEASURED_FROM {
            self.expected
        } else {
            self.written as f64 / so_far.as_secs_f64()
        }
    }

    /// For how long rows fit into so many bytes of memory.
    pub(super) fn fits_memory(&self, bytes: usize, now: Duration) -> Duration {
        let rate = self.bytes_per_s(now).max(self.expected) + self.rows_per_s * ROW_EXTRA as f64;
        lasting(bytes as f64, rate)
    }

    /// For how long rows fit onto so many bytes of a disk.
    pub(super) fn fits_disk(&self, bytes: u64, now: Duration) -> Duration {
        lasting(bytes as f64, self.bytes_per_s(now))
    }
}

fn lasting(bytes: f64, rate: f64) -> Duration {
    Duration::try_from_secs_f64(bytes / rate).unwrap_or(Duration::MAX)
}

/// A length of time without parts that do not matter: `40s`, `12m`, `5h 20m`, `2d 4h`, `97d`.
pub(super) fn about(time: Duration) -> String {
    let seconds = time.as_secs();
    let (days, hours, minutes) = (seconds / 86_400, seconds / 3600 % 24, seconds / 60 % 60);
    match seconds {
        0..60 => format!("{seconds}s"),
        60..3600 => format!("{minutes}m"),
        3600..86_400 => format!("{hours}h {minutes}m"),
        86_400..864_000 => format!("{days}d {hours}h"),
        864_000..315_360_000 => format!("{days}d"),
        _ => "ten years".to_owned(),
    }
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn a_length_of_time_is_told_in_its_great_parts() {
        let told = [59, 719, 19_259, 187_199, 8_439_552, u64::MAX];
        let told = told.map(|seconds| about(Duration::from_secs(seconds)));
        assert_eq!(told, ["59s", "11m", "5h 20m", "2d 3h", "97d", "ten years"]);
    }
}
