//! What the times of somebody's CSV count, learned from its first rows.

use chrono::{DateTime, Utc};

use super::csv_cell::{DAYS, MOST_DAYS_A_ROW, Moment, of_day_number};

/// How the cells of the time column become seconds.
#[derive(Clone, Copy, Debug, PartialEq)]
pub(super) enum TimeAxis {
    /// They are seconds, from any beginning.
    Seconds,
    /// They are wall time; the seconds are those since the first row.
    Wall(DateTime<Utc>),
    /// They are a spreadsheet's days; likewise.
    Days(f64),
}

impl TimeAxis {
    /// The seconds of a row, or what is wrong with it.
    pub(super) fn seconds(self, moment: Moment) -> Result<f64, &'static str> {
        match (self, moment, moment.wall()) {
            (Self::Seconds, Moment::Seconds(seconds), _) => Ok(seconds),
            (Self::Wall(first), _, Some(now)) => Ok((now - first).as_seconds_f64()),
            (Self::Days(first), Moment::Seconds(days), _) if DAYS.contains(&days) => {
                // To the millisecond, as far as a spreadsheet's numbers reach.
                Ok(((days - first) * 86_400_000.0).round() / 1e3)
            }
            (Self::Days(_), Moment::Seconds(_), _) => {
                Err("the time is no day number of a spreadsheet, as those above are")
            }
            _ => Err("wall time and seconds are mixed in the time column"),
        }
    }

    /// Wall time of second 0, where the times tell it.
    pub(super) fn began(self) -> Option<DateTime<Utc>> {
        match self {
            Self::Seconds => None,
            Self::Wall(first) => Some(first),
            Self::Days(first) => of_day_number(first),
        }
    }
}

/// Learns a time axis from row after row.
///
/// Numbers count days where they lie between those of 2000 and 2099 and the first that grows does so
/// by less than an hour. No record in seconds that begins so late has 24 rows a second.
#[derive(Debug, Default)]
pub(super) struct Learning {
    first: Option<Moment>,
}

impl Learning {
    /// Takes the time of one more row; the axis, if it is certain now. `may_be_days` where the
    /// column's name says no other unit.
    pub(super) fn learn(&mut self, moment: Moment, may_be_days: bool) -> Option<TimeAxis> {
        let first = *self.first.get_or_insert(moment);
        if let Some(wall) = first.wall() {
            return Some(TimeAxis::Wall(wall));
        }
        let (Moment::Seconds(first), Moment::Seconds(now)) = (first, moment) else {
            return Some(TimeAxis::Seconds);
        };
        if !may_be_days || !DAYS.contains(&now) {
            return Some(TimeAxis::Seconds);
        }
        match now - first {
            0.0 => None,
            step if step > 0.0 && step < MOST_DAYS_A_ROW => Some(TimeAxis::Days(first)),
            _ => Some(TimeAxis::Seconds),
        }
    }

    /// The axis when there are no more rows.
    pub(super) fn at_end(&self) -> TimeAxis {
        let wall = self.first.and_then(Moment::wall);
        wall.map_or(TimeAxis::Seconds, TimeAxis::Wall)
    }

    /// The first row's time.
    pub(super) fn first(&self) -> Option<Moment> {
        self.first
    }
}

#[cfg(test)]
mod tests {
    use super::*;

    fn learned(numbers: &[f64]) -> TimeAxis {
        let mut learning = Learning::default();
        let mut numbers = numbers.iter();
        let found = numbers.find_map(|it| learning.learn(Moment::Seconds(*it), true));
        found.unwrap_or_else(|| learning.at_end())
    }

    #[test]
    fn day_numbers_are_told_from_seconds_by_their_first_step() {
        let a_second = 1.0 / 86_400.0;
        let days = [46_450.25, 46_450.25, 46_450.25 + a_second];
        assert_eq!(learned(&days), TimeAxis::Days(46_450.25));
        for seconds in [
            &[46_450.0, 46_451.0][..],
            &[0.0, 0.01],
            &[46_450.25],
            &[46_450.25, 46_450.0],
            &[],
        ] {
            assert_eq!(learned(seconds), TimeAxis::Seconds, "{seconds:?}");
        }
    }

    #[test]
    fn days_become_seconds_since_the_first_row() {
        let axis = TimeAxis::Days(46_450.25);
        let known = "2027-03-04T06:00:00Z".parse::<DateTime<Utc>>().ok();
        assert_eq!(axis.began(), known);
        assert_eq!(axis.seconds(Moment::Seconds(46_450.5)), Ok(21_600.0));
        assert!(axis.seconds(Moment::Seconds(80_000.0)).is_err());
    }
}
