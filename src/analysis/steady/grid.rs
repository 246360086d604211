//! Samples put on an even grid.

/// So many missing samples in a row are bridged by a straight line.
const BRIDGED: f64 = 10.0;
/// Two samples closer than this part of a period are one.
const CLOSE: f64 = 0.25;

/// What is passed on.
#[derive(Clone, Copy, Debug, PartialEq)]
pub(super) enum Place {
    /// The next value.
    Next(f64),
    /// What comes next does not follow.
    Break,
}

/// Samples about one period apart, as they come; each is the next value of the grid, and where some
/// are missing they lie on a straight line.
#[derive(Clone, Debug)]
pub(super) struct Grid {
    period_s: f64,
    last: Option<(f64, f64)>,
}

impl Grid {
    pub(super) fn new(period_s: f64) -> Self {
        Self {
            period_s,
            last: None,
        }
    }

    /// What comes next does not follow.
    pub(super) fn break_off(&mut self) {
        self.last = None;
    }

    #[inline]
    pub(super) fn put(&mut self, time_s: f64, value: f64, mut place: impl FnMut(Place)) {
        let Some((last_s, last)) = self.last.replace((time_s, value)) else {
            place(Place::Break);
            place(Place::Next(value));
            return;
        };
        let periods = (time_s - last_s) / self.period_s;
        if periods < CLOSE {
            self.last = Some((last_s, last));
            return;
        }
        if periods > 1.5 {
            let steps = periods.round();
            if steps > BRIDGED + 1.0 {
                place(Place::Break);
            } else {
                for step in 1..steps as u32 {
                    place(Place::Next(last + (value - last) * f64::from(step) / steps));
                }
            }
        }
        place(Place::Next(value));
    }
}

#[cfg(test)]
mod tests {
    use super::*;
    use Place::{Break, Next};

    #[test]
    fn late_samples_are_the_next_ones_and_short_gaps_are_bridged() {
        let mut grid = Grid::new(1.0);
        let mut found = Vec::new();
        for (time_s, value) in [
            (0.0, 0.0),
            (1.3, 1.0),
            (1.9, 2.0),
            (1.9, 7.0),
            (5.0, 5.0),
            (30.0, 6.0),
        ] {
            grid.put(time_s, value, |it| found.push(it));
        }
        let expected = [
            Break,
            Next(0.0),
            Next(1.0),
            Next(2.0),
            Next(3.0),
            Next(4.0),
            Next(5.0),
        ];
        assert_eq!(found[..7], expected);
        assert_eq!(found[7..], [Break, Next(6.0)]);
    }
}
