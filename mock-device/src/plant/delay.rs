//! Transport dead time: the probe meets the air that left the element some seconds ago.

use std::collections::VecDeque;

/// The air temperature of the last seconds, remembered at every step with its rate of change, so
/// that values between two steps are as accurate as the integration itself.
#[derive(Clone, Debug)]
pub(crate) struct Delay {
    /// Oldest first; as long as the dead time has steps.
    past: VecDeque<Moment>,
    step_s: f64,
}

#[derive(Clone, Copy, Debug)]
struct Moment {
    value: f64,
    rate: f64,
}

/// The delayed value at the start, the middle and the end of a step.
#[derive(Clone, Copy, Debug, PartialEq)]
pub(crate) struct Seen {
    /// At the start of the step.
    pub(crate) start: f64,
    /// Half-way.
    pub(crate) middle: f64,
    /// At its end.
    pub(crate) end: f64,
}

impl Delay {
    /// A dead time of `seconds`, rounded to whole steps and at least one, filled with `value`.
    pub(crate) fn new(seconds: f64, step_s: f64, value: f64) -> Self {
        let steps = (seconds / step_s).round().max(1.0) as usize;
        let moment = Moment { value, rate: 0.0 };
        Self {
            past: std::iter::repeat_n(moment, steps).collect(),
            step_s,
        }
    }

    /// Takes in `value` and its `rate` at the start of a step, and gives what comes out during it.
    pub(crate) fn step(&mut self, value: f64, rate: f64) -> Seen {
        self.past.push_back(Moment { value, rate });
        let first = self.past.pop_front().unwrap_or(Moment { value, rate });
        let second = self.past.front().copied().unwrap_or(first);
        Seen {
            start: first.value,
            // Cubic Hermite interpolation at the middle of the interval.
            middle: 0.5 * (first.value + second.value)
                + 0.125 * self.step_s * (first.rate - second.rate),
            end: second.value,
        }
    }
}

#[cfg(test)]
mod tests {
    use super::*;

    /// Closed form: a cubic passes through unchanged, 2 s late.
    #[test]
    fn a_cubic_comes_out_as_it_went_in_only_later() {
        let cubic = |t: f64| 1.0 + t * (2.0 + t * (-0.5 + 0.25 * t));
        let rate = |t: f64| 2.0 - t + 0.75 * t * t;
        let mut delay = Delay::new(2.0, 0.5, cubic(0.0));
        for k in 0..40 {
            let t = f64::from(k) * 0.5;
            let seen = delay.step(cubic(t), rate(t));
            if t >= 2.0 {
                assert!((seen.start - cubic(t - 2.0)).abs() < 1e-9);
                assert!((seen.middle - cubic(t - 1.75)).abs() < 1e-9);
                assert!((seen.end - cubic(t - 1.5)).abs() < 1e-9);
            }
        }
    }
}
