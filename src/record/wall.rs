//! Wall time beside a recording's elapsed time, with the steps the system's clock made.

use std::path::Path;

use chrono::{DateTime, TimeDelta, Utc};

use super::layout::{EVENTS_FILE, stamp_of_cells};
use super::read_error::ReadError;
use super::rows::whole_rows;
use crate::sample::Happening;

/// Wall time as a function of elapsed time.
#[derive(Clone, Debug, PartialEq)]
pub struct WallClock {
    /// Wall time of elapsed time 0, as it was thought then.
    pub began: DateTime<Utc>,
    /// Each step: from which elapsed second on, and the wall time then.
    pub steps: Vec<(f64, DateTime<Utc>)>,
}

impl WallClock {
    /// A clock that made no step.
    pub fn beginning(began: DateTime<Utc>) -> Self {
        let steps = Vec::new();
        Self { began, steps }
    }

    /// That of a loop's folder, whose events tell the steps, if they are there: that they are missing is
    /// `verify`'s business.
    ///
    /// # Errors
    /// The file of events cannot be read, or, unless `skip_bad`, a row of it.
    pub(super) fn of_loop(
        folder: &Path,
        began: DateTime<Utc>,
        skip_bad: bool,
    ) -> Result<Self, ReadError> {
        let step = |(_, row): (u64, csv::StringRecord)| {
            let is_step = Happening::from_word(row.get(2)?) == Some(Happening::ClockStep);
            let stamp = stamp_of_cells(row.get(0)?, row.get(1)?)?;
            is_step.then_some((stamp.elapsed.as_secs_f64(), stamp.time))
        };
        let events = folder.join(EVENTS_FILE);
        if !events.exists() {
            return Ok(Self::beginning(began));
        }
        let (rows, _) = whole_rows(&events, skip_bad)?;
        let steps = rows.into_iter().filter_map(step).collect();
        Ok(Self { began, steps })
    }

    /// The wall time of an elapsed second, as it was thought then; `None` beyond all calendars.
    pub fn at(&self, elapsed_s: f64) -> Option<DateTime<Utc>> {
        let step = self.steps.iter().rev().find(|(from, _)| *from <= elapsed_s);
        let (from_s, time) = step.copied().unwrap_or((0.0, self.began));
        time.checked_add_signed(milliseconds(elapsed_s - from_s)?)
    }

    /// The elapsed second of a wall time; the first, where a clock that was set back said it twice.
    /// Where it never said it, the second in which it was set to a later one.
    pub fn elapsed_s(&self, time: DateTime<Utc>) -> f64 {
        let beginnings = std::iter::once((0.0, self.began)).chain(self.steps.iter().copied());
        let ends = self.steps.iter().map(|(from_s, _)| *from_s);
        let mut stretches = beginnings.zip(ends.chain([f64::INFINITY]));
        let at = |from_s: f64, began: DateTime<Utc>| from_s + (time - began).as_seconds_f64();
        let said = stretches.clone().find_map(|((from_s, began), end_s)| {
            let at_s = at(from_s, began);
            (from_s..end_s).contains(&at_s).then_some(at_s)
        });
        let mut jumped_over = || stretches.find(|((_, began), _)| time < *began);
        said.or_else(|| jumped_over().map(|((from_s, _), _)| from_s))
            .filter(|at_s| *at_s > 0.0)
            .unwrap_or_else(|| at(0.0, self.began))
    }
}

fn milliseconds(seconds: f64) -> Option<TimeDelta> {
    TimeDelta::try_milliseconds((seconds * 1000.0).round() as i64)
}

#[cfg(test)]
mod tests {
    use super::*;

    fn time(text: &str) -> DateTime<Utc> {
        text.parse().unwrap()
    }

    #[test]
    fn wall_time_goes_with_elapsed_time_from_step_to_step_and_back() {
        let wall = WallClock {
            began: time("2025-11-02T00:00:00Z"),
            steps: vec![
                (60.0, time("2027-03-04T06:00:00Z")),
                (120.0, time("2027-03-04T05:00:00Z")),
            ],
        };
        let at_ms = |text| (wall.elapsed_s(time(text)) * 1000.0).round() as i64;
        for (at, text) in [
            (59_500, "2025-11-02T00:00:59.500Z"),
            (60_000, "2027-03-04T06:00:00Z"),
            (61_000, "2027-03-04T06:00:01Z"),
            (120_500, "2027-03-04T05:00:00.500Z"),
        ] {
            assert_eq!(wall.at(at as f64 / 1e3), Some(time(text)));
            assert_eq!(at_ms(text), at, "{text}");
        }
        assert_eq!(at_ms("2026-01-01T00:00:00Z"), 60_000);
        assert_eq!(at_ms("2025-11-01T23:59:59Z"), -1000);
    }
}
