//! From values to pixels, and where the marks of an axis stand.

/// A straight map from values to pixels.
#[derive(Clone, Copy, Debug)]
pub(super) struct Scale {
    /// Smallest and largest value.
    pub(super) values: (f64, f64),
    /// Where they stand.
    pub(super) pixels: (f64, f64),
}

impl Scale {
    /// Where a value stands; the middle when the scale has no width.
    pub(super) fn at(&self, value: f64) -> f64 {
        let width = self.values.1 - self.values.0;
        if width <= 0.0 {
            return f64::midpoint(self.pixels.0, self.pixels.1);
        }
        self.pixels.0 + (value - self.values.0) / width * (self.pixels.1 - self.pixels.0)
    }
}

/// Values for the marks of a degree or percent axis: steps of 1, 2 or 5 times a power of ten.
#[derive(Debug, PartialEq)]
pub(super) struct Ticks {
    /// The values, ascending, all inside the range.
    pub(super) at: Vec<f64>,
    /// Decimals their labels need.
    pub(super) decimals: usize,
}

/// At most `most` marks between two values.
pub(super) fn ticks(from: f64, to: f64, most: usize) -> Ticks {
    let width = to - from;
    if !width.is_finite() || width <= 0.0 || most == 0 {
        return Ticks {
            at: Vec::new(),
            decimals: 0,
        };
    }
    let mut power = (width / most as f64).log10().floor() as i32;
    let step = loop {
        let nice = [1.0, 2.0, 5.0]
            .map(|digit| digit * 10f64.powi(power))
            .into_iter()
            .find(|step| count(from, to, *step) <= most);
        if let Some(step) = nice {
            break step;
        }
        power += 1;
    };
    Ticks {
        at: multiples(from, to, step),
        decimals: (-step.log10().floor()).max(0.0) as usize,
    }
}

/// Marks of a time axis, in the unit people would use for it.
#[derive(Debug, PartialEq)]
pub(super) struct TimeTicks {
    /// Seconds, ascending, all inside the range.
    pub(super) at: Vec<f64>,
    /// What the labels count: `seconds`, `minutes`, `hours` or `days`.
    pub(super) unit: &'static str,
    /// Seconds in it.
    pub(super) unit_s: f64,
}

const TIME_STEPS_S: [f64; 22] = [
    1.0, 2.0, 5.0, 10.0, 20.0, 30.0, 60.0, 120.0, 300.0, 600.0, 900.0, 1200.0, 1800.0, 3600.0,
    7200.0, 10_800.0, 14_400.0, 21_600.0, 43_200.0, 86_400.0, 172_800.0, 604_800.0,
];

/// At most `most` marks between two times in seconds.
pub(super) fn time_ticks(from: f64, to: f64, most: usize) -> TimeTicks {
    let step = TIME_STEPS_S
        .into_iter()
        .find(|step| count(from, to, *step) <= most)
        .unwrap_or_else(|| (to - from) / most.max(1) as f64);
    let (unit, unit_s) = match to.abs().max(from.abs()) {
        0.0..=180.0 => ("seconds", 1.0),
        ..=14_400.0 => ("minutes", 60.0),
        ..=345_600.0 => ("hours", 3600.0),
        _ => ("days", 86_400.0),
    };
    TimeTicks {
        at: multiples(from, to, step),
        unit,
        unit_s,
    }
}

fn count(from: f64, to: f64, step: f64) -> usize {
    let steps = (to / step + 1e-9).floor() - (from / step - 1e-9).ceil();
    (steps + 1.0).max(0.0) as usize
}

fn multiples(from: f64, to: f64, step: f64) -> Vec<f64> {
    let first = (from / step - 1e-9).ceil();
    (0..count(from, to, step))
        .map(|place| (first + place as f64) * step)
        .collect()
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn a_value_stands_where_the_straight_line_puts_it() {
        let scale = Scale {
            values: (490.0, 530.0),
            pixels: (300.0, 0.0),
        };
        assert!((scale.at(500.0) - 225.0).abs() < 1e-9);
        let flat = Scale {
            values: (5.0, 5.0),
            pixels: (0.0, 10.0),
        };
        assert!((flat.at(5.0) - 5.0).abs() < 1e-9);
    }

    #[test]
    fn degree_marks_are_ones_twos_and_fives() {
        assert_eq!(
            ticks(488.0, 531.0, 6).at,
            [490.0, 500.0, 510.0, 520.0, 530.0]
        );
        assert_eq!(ticks(0.0, 100.0, 3).at, [0.0, 50.0, 100.0]);
        let small = ticks(-0.13, 0.31, 6);
        assert_eq!(small.decimals, 1);
        assert_eq!(small.at.len(), 5);
        assert!(ticks(3.0, 3.0, 6).at.is_empty());
        assert!(ticks(f64::NAN, 3.0, 6).at.is_empty());
    }

    #[test]
    fn time_marks_are_what_clocks_show() {
        let hour = time_ticks(-120.0, 3600.0, 8);
        assert_eq!(hour.unit, "minutes");
        assert_eq!(
            hour.at,
            [0.0, 600.0, 1200.0, 1800.0, 2400.0, 3000.0, 3600.0]
        );
        let day = time_ticks(0.0, 86_400.0, 7);
        assert_eq!((day.unit, day.at[1]), ("hours", 14_400.0));
        assert_eq!(time_ticks(0.0, 90.0, 6).unit, "seconds");
    }
}
