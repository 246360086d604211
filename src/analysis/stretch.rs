//! The samples of a window and the straight lines between them.

use crate::trace::Trace;

/// The process value over a window; times count from the window's start.
///
/// Where the window begins or ends between two samples, the line there gives a sample of its own.
#[derive(Clone, Debug, PartialEq)]
pub(crate) struct Stretch {
    /// Seconds since the window's start, never decreasing.
    pub(crate) t: Vec<f64>,
    /// Process value.
    pub(crate) y: Vec<f64>,
}

/// Where a line reaches a level.
#[derive(Clone, Copy, Debug, PartialEq)]
pub(crate) struct Crossing {
    /// When, interpolated.
    pub(crate) at_s: f64,
    /// The first sample at or past the level.
    pub(crate) after: usize,
}

impl Stretch {
    /// The window from `from_s` to `to_s` of a checked trace, as far as there are samples.
    pub(crate) fn cut(trace: &Trace<'_>, from_s: f64, to_s: f64) -> Self {
        let (times, pv) = (trace.time_s, trace.pv);
        let first = times.partition_point(|t| *t < from_s);
        let end = times.partition_point(|t| *t <= to_s).max(first);
        let mut t = Vec::with_capacity(end - first + 2);
        let mut y = Vec::with_capacity(end - first + 2);
        if times.get(first).is_some_and(|t| *t > from_s) && first > 0 {
            t.push(0.0);
            y.push(value_at(trace, first, from_s));
        }
        t.extend(times[first..end].iter().map(|time| time - from_s));
        y.extend_from_slice(&pv[first..end]);
        let reached = t.last().copied().unwrap_or(f64::INFINITY);
        if end < times.len() && reached < to_s - from_s {
            t.push(to_s - from_s);
            y.push(value_at(trace, end, to_s));
        }
        Self { t, y }
    }

    /// The samples from `from_s` to `to_s` alone: what is a mean or a spread is not of the line.
    pub(crate) fn samples(trace: &Trace<'_>, from_s: f64, to_s: f64) -> Self {
        let first = trace.time_s.partition_point(|t| *t < from_s);
        let end = trace.time_s.partition_point(|t| *t <= to_s).max(first);
        Self {
            t: trace.time_s[first..end]
                .iter()
                .map(|t| t - from_s)
                .collect(),
            y: trace.pv[first..end].to_vec(),
        }
    }

    /// The part up to `until_s`, with a sample of the line there.
    pub(crate) fn until(&self, until_s: f64) -> Self {
        self.part(0.0, until_s)
    }

    /// The part from `from_s` to `to_s`, with samples of the line at both ends; its times count from
    /// its own beginning.
    pub(crate) fn part(&self, from_s: f64, to_s: f64) -> Self {
        Self::cut(
            &Trace {
                time_s: &self.t,
                pv: &self.y,
                setpoint: None,
                output: None,
                autotune: None,
            },
            from_s,
            to_s,
        )
    }

    /// When the stretch ends; 0 for an empty one.
    pub(crate) fn end_s(&self) -> f64 {
        self.t.last().copied().unwrap_or(0.0)
    }

    /// The first time the line is at or past `level` in the direction of `sign`.
    pub(crate) fn first_reaches(&self, level: f64, sign: f64) -> Option<Crossing> {
        let after = self.y.iter().position(|y| sign * (y - level) >= 0.0)?;
        let at_s = match after {
            0 => self.t[0],
            _ => self.when(after, level),
        };
        Some(Crossing { at_s, after })
    }

    /// When the line from the sample before `index` to it passes `level`.
    pub(crate) fn when(&self, index: usize, level: f64) -> f64 {
        let (t0, t1) = (self.t[index - 1], self.t[index]);
        let (y0, y1) = (self.y[index - 1], self.y[index]);
        t0 + (level - y0) * (t1 - t0) / (y1 - y0)
    }
}

/// The line from the sample before `index` to it, at `at_s`.
fn value_at(trace: &Trace<'_>, index: usize, at_s: f64) -> f64 {
    let (t0, t1) = (trace.time_s[index - 1], trace.time_s[index]);
    let (y0, y1) = (trace.pv[index - 1], trace.pv[index]);
    y0 + (y1 - y0) * (at_s - t0) / (t1 - t0)
}

#[cfg(test)]
mod tests {
    use super::*;

    fn trace() -> Trace<'static> {
        Trace {
            time_s: &[10.0, 12.0, 14.0],
            pv: &[0.0, 4.0, 6.0],
            setpoint: None,
            output: None,
            autotune: None,
        }
    }

    #[test]
    fn a_window_between_samples_gets_the_line_at_both_ends() {
        let cut = Stretch::cut(&trace(), 11.0, 13.0);
        assert_eq!(cut.t, [0.0, 1.0, 2.0]);
        assert_eq!(cut.y, [2.0, 4.0, 5.0]);
    }

    #[test]
    fn a_window_within_one_interval_is_a_piece_of_its_line() {
        let cut = Stretch::cut(&trace(), 10.5, 11.5);
        assert_eq!(cut.t, [0.0, 1.0]);
        assert_eq!(cut.y, [1.0, 3.0]);
    }

    #[test]
    fn a_window_on_samples_is_those_samples() {
        let cut = Stretch::cut(&trace(), 10.0, 14.0);
        assert_eq!(cut.t, [0.0, 2.0, 4.0]);
        assert_eq!(Stretch::cut(&trace(), 5.0, 99.0).y, cut.y);
    }

    #[test]
    fn samples_are_without_the_line_at_the_ends() {
        let samples = Stretch::samples(&trace(), 11.0, 13.0);
        assert_eq!((samples.t, samples.y), (vec![1.0], vec![4.0]));
        assert_eq!(Stretch::samples(&trace(), 15.0, 13.0).y, [0.0; 0]);
    }

    #[test]
    fn a_level_is_reached_on_the_line() {
        let cut = Stretch::cut(&trace(), 10.0, 14.0);
        let crossing = cut.first_reaches(5.0, 1.0).unwrap();
        assert_eq!((crossing.at_s, crossing.after), (3.0, 2));
        assert_eq!(cut.first_reaches(7.0, 1.0), None);
    }
}
