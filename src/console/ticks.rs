//! Where the ticks of an axis stand.

use chrono::{DateTime, Timelike, Utc};

use super::session::Zone;

/// A value axis whose labels stand on round values in the very middle of a row.
#[derive(Clone, Debug, PartialEq)]
pub(super) struct ValueTicks {
    /// The value in the middle of the lowest row.
    pub low: f64,
    /// From one row to the next.
    pub per_row: f64,
    /// From one label to the next.
    pub step: f64,
    /// Decimals a label needs.
    pub decimals: u32,
}

/// Labels stand so many rows apart.
const ROWS_APART: [f64; 3] = [5.0, 4.0, 3.0];

impl ValueTicks {
    /// The axis that shows `low` to `high` on so many rows as large as it can. Labels are multiples
    /// of 1, 2 or 5 times a power of ten, and at least `least_step`.
    pub(super) fn covering(low: f64, high: f64, rows: u16, least_step: f64) -> Self {
        let between = f64::from(rows.saturating_sub(2).max(1));
        // One row is spare, because the lowest is rounded down.
        let wanted = (high - low).max(least_step) / between;
        let first = least_step.max(wanted).log10().floor() as i32;
        let steps =
            (first..first + 4).flat_map(|power| [1.0, 2.0, 5.0].map(|d| d * 10_f64.powi(power)));
        let scales = steps
            .filter(|step| *step >= least_step * 0.999)
            .flat_map(|step| ROWS_APART.map(|apart| (step / apart, step)));
        let (per_row, step) = scales
            .filter(|(per_row, _)| *per_row >= wanted)
            .min_by(|a, b| a.0.total_cmp(&b.0))
            .unwrap_or((wanted, least_step));
        let spare = f64::from(rows.saturating_sub(1)) * per_row - (high - low);
        Self {
            low: ((low - spare / 2.0) / per_row).ceil() * per_row,
            per_row,
            step,
            decimals: (-step.log10().floor()).max(0.0) as u32,
        }
    }

    /// The labelled values and their rows counted from the lowest.
    pub(super) fn labels(&self, rows: u16) -> impl Iterator<Item = (f64, u16)> {
        (0..rows).filter_map(|row| {
            let steps = (self.low + f64::from(row) * self.per_row) / self.step;
            let is_round = (steps - steps.round()).abs() < 1e-6;
            is_round.then(|| (steps.round() * self.step, row))
        })
    }
}

/// One tick of a time axis.
#[derive(Clone, Debug, PartialEq, Eq)]
pub(super) struct TimeTick {
    /// When.
    pub time: DateTime<Utc>,
    /// What is written there.
    pub label: String,
}

/// Sensible steps of a time axis, in seconds.
const TIME_STEPS: [i64; 21] = [
    1, 2, 5, 10, 15, 30, 60, 120, 300, 600, 900, 1800, 3600, 7200, 10_800, 21_600, 43_200, 86_400,
    172_800, 604_800, 2_592_000,
];

/// Ticks from `from` to `to` on round local times, at least `apart_s` seconds apart.
pub(super) fn time_ticks(
    from: DateTime<Utc>,
    to: DateTime<Utc>,
    apart_s: f64,
    zone: Zone,
) -> Vec<TimeTick> {
    let step = TIME_STEPS
        .into_iter()
        .find(|step| *step as f64 >= apart_s)
        .unwrap_or(TIME_STEPS[TIME_STEPS.len() - 1]);
    let offset = i64::from(zone(from).local_minus_utc());
    // The first round local time that is not before `from`.
    let from_s = from.timestamp() + i64::from(from.timestamp_subsec_nanos() > 0);
    let first_s = (from_s + offset + step - 1).div_euclid(step) * step - offset;
    (first_s..=to.timestamp())
        .step_by(step as usize)
        .filter_map(|time_s| DateTime::from_timestamp(time_s, 0))
        .map(|time| TimeTick {
            time,
            label: label(time, step, zone),
        })
        .collect()
}

/// Midnight reads as its date.
fn label(time: DateTime<Utc>, step: i64, zone: Zone) -> String {
    let local = time.with_timezone(&zone(time));
    let is_midnight = local.num_seconds_from_midnight() == 0;
    let format = match step {
        ..86_400 if is_midnight => "%b %-d",
        ..60 => "%H:%M:%S",
        60..86_400 => "%H:%M",
        _ => "%b %-d",
    };
    local.format(format).to_string()
}

#[cfg(test)]
mod tests {
    use super::*;
    use chrono::{FixedOffset, TimeDelta};

    #[test]
    fn values_stand_on_round_numbers() {
        let ticks = ValueTicks::covering(488.3, 516.2, 12, 0.1);
        let labels: Vec<(f64, u16)> = ticks.labels(12).collect();
        assert_eq!(labels, [(490.0, 1), (500.0, 4), (510.0, 7), (520.0, 10)]);
    }

    #[test]
    fn every_value_is_on_the_axis_however_small_or_large_the_range() {
        for rows in [3, 6, 11, 40] {
            for (low, high) in [(20.12, 20.13), (0.0, 1300.0), (-5.0, 5.0), (510.0, 510.0)] {
                let ticks = ValueTicks::covering(low, high, rows, 0.1);
                let top = ticks.low + f64::from(rows - 1) * ticks.per_row;
                assert!(ticks.low <= low + 1e-9, "{rows} {low} {ticks:?}");
                assert!(top >= high - 1e-9, "{rows} {high} {ticks:?}");
            }
        }
    }

    #[test]
    fn times_stand_on_round_local_times() {
        let half_past: Zone = |_| FixedOffset::east_opt(19_800).unwrap();
        let from: DateTime<Utc> = "2027-03-04T06:07:00.250Z".parse().unwrap();
        let ticks = time_ticks(from, from + TimeDelta::minutes(40), 540.0, half_past);
        let labels: Vec<&str> = ticks.iter().map(|tick| tick.label.as_str()).collect();
        assert_eq!(labels, ["11:40", "11:50", "12:00", "12:10"]);
        assert_eq!(
            ticks[0].time,
            "2027-03-04T06:10:00Z".parse::<DateTime<Utc>>().unwrap()
        );
    }
}
