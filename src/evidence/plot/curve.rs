//! A column of a record as lines in a picture; a gap in the data is a gap in the line.

use std::fmt::Write as _;

use super::decimate::{Point, m4};
use super::panel::Panel;
use crate::evidence::markup::Px;

/// A stretch of good samples; times in seconds from where the picture begins to count.
pub(in crate::evidence) struct Curve {
    points: Vec<(f64, f64)>,
    gap_s: f64,
}

/// How a value lies between two samples.
#[derive(Clone, Copy, PartialEq, Eq)]
pub(super) enum Between {
    /// On the straight line.
    Straight,
    /// It stays until the next sample, as an output and a setpoint do.
    Held,
}

impl Curve {
    /// The samples between two times of a record, and one more at each side so that the line
    /// reaches the picture's edge. `origin_s` is where the picture counts from.
    pub(super) fn new(time_s: &[f64], values: &[f64], origin_s: f64, shown: (f64, f64)) -> Self {
        let first = time_s.partition_point(|t| t - origin_s < shown.0);
        let end = time_s.partition_point(|t| t - origin_s <= shown.1);
        let stretch = first.saturating_sub(1)..(end + 1).min(time_s.len());
        let points = stretch
            .filter_map(|i| Some((time_s.get(i)? - origin_s, *values.get(i)?)))
            .collect();
        Self {
            points,
            gap_s: longest_step(time_s),
        }
    }

    /// Its samples inside the picture and finite.
    pub(super) fn values(&self, shown: (f64, f64)) -> impl Iterator<Item = f64> {
        self.points
            .iter()
            .filter(move |(t, value)| *t >= shown.0 && *t <= shown.1 && value.is_finite())
            .map(|(_, value)| *value)
    }

    /// The value at a time, on the straight line between its neighbours; `None` outside and in gaps.
    pub(super) fn value_at(&self, at: f64) -> Option<f64> {
        let after = self.points.partition_point(|(t, _)| *t < at);
        let next = self.points.get(after)?;
        if next.0 <= at {
            return Some(next.1);
        }
        let last = self.points.get(after.checked_sub(1)?)?;
        let share = (at - last.0) / (next.0 - last.0);
        (next.0 - last.0 <= self.gap_s).then_some(last.1 + share * (next.1 - last.1))
    }

    /// Stretches without data inside the picture: where the recorder got nothing.
    pub(super) fn gaps(&self, shown: (f64, f64)) -> Vec<(f64, f64)> {
        self.points
            .windows(2)
            .map(|pair| (pair[0].0.max(shown.0), pair[1].0.min(shown.1)))
            .filter(|(from, to)| to - from > self.gap_s)
            .collect()
    }

    /// Unbroken lines in pixels, thinned to what can be seen.
    pub(super) fn lines(&self, panel: &Panel, between: Between) -> Vec<Vec<Point>> {
        let unbroken = self
            .points
            .chunk_by(|a, b| a.1.is_finite() && b.1.is_finite() && b.0 - a.0 <= self.gap_s);
        unbroken
            .filter(|run| run[0].1.is_finite())
            .map(|run| m4(&pixels(run, panel, between)))
            .collect()
    }
}

fn pixels(run: &[(f64, f64)], panel: &Panel, between: Between) -> Vec<Point> {
    let mut line: Vec<Point> = Vec::with_capacity(run.len());
    for (t, value) in run {
        let point = (panel.x.at(*t), panel.y.at(*value));
        if let (Between::Held, Some(last)) = (between, line.last().copied())
            && last.1.total_cmp(&point.1).is_ne()
        {
            line.push((point.0, last.1));
        }
        line.push(point);
    }
    line
}

/// An interval between samples longer than this is missing data: one and a half sampling periods.
fn longest_step(time_s: &[f64]) -> f64 {
    let mut steps: Vec<f64> = time_s
        .windows(2)
        .map(|pair| pair[1] - pair[0])
        .filter(|step| *step > 0.0)
        .collect();
    if steps.is_empty() {
        return f64::INFINITY;
    }
    let middle = steps.len() / 2;
    1.5 * *steps.select_nth_unstable_by(middle, f64::total_cmp).1
}

/// Lines as the data of one SVG path. A lone sample becomes a dot (with round line ends).
pub(super) fn path(lines: &[Vec<Point>]) -> String {
    let mut data = String::new();
    for line in lines {
        for (place, (x, y)) in line.iter().enumerate() {
            let letter = if place == 0 { 'M' } else { 'L' };
            let _ = write!(data, "{letter}{} {}", Px(*x), Px(*y));
        }
        if line.len() == 1 {
            data.push_str("h0");
        }
    }
    data
}

#[cfg(test)]
mod tests {
    use super::*;
    use crate::evidence::plot::scale::Scale;

    fn panel() -> Panel {
        Panel {
            x: Scale {
                values: (0.0, 10.0),
                pixels: (0.0, 100.0),
            },
            y: Scale {
                values: (0.0, 10.0),
                pixels: (100.0, 0.0),
            },
        }
    }

    #[test]
    fn a_gap_breaks_the_line_and_a_lone_sample_is_a_dot() {
        let time = [0.0, 1.0, 2.0, 5.0, 9.0, 10.0];
        let value = [1.0, 2.0, 3.0, 4.0, 5.0, f64::NAN];
        let curve = Curve::new(&time, &value, 0.0, (0.0, 10.0));
        let lines = curve.lines(&panel(), Between::Straight);
        assert_eq!(path(&lines), "M0 90L10 80L20 70M50 60h0M90 50h0");
        assert_eq!(curve.gaps((0.0, 10.0)), [(2.0, 5.0), (5.0, 9.0)]);
        assert_eq!(curve.value_at(1.5), Some(2.5));
        assert_eq!(curve.value_at(3.0), None);
        assert_eq!(curve.value_at(20.0), None);
    }

    #[test]
    fn an_output_is_held_until_it_changes() {
        let curve = Curve::new(&[0.0, 1.0, 2.0], &[0.0, 0.0, 10.0], 0.0, (0.0, 2.0));
        let lines = curve.lines(&panel(), Between::Held);
        assert_eq!(path(&lines), "M0 100L10 100L20 100L20 0");
    }

    #[test]
    fn no_samples_give_no_line() {
        let curve = Curve::new(&[], &[], 0.0, (0.0, 2.0));
        assert_eq!(path(&curve.lines(&panel(), Between::Straight)), "");
        assert_eq!(curve.value_at(1.0), None);
    }
}
