//! Transport dead time: the probe meets the air that left the element some seconds ago.

use std::collections::VecDeque;

/// The air temperature of the last seconds, step by step.
#[derive(Clone, Debug)]
pub(crate) struct Delay {
    /// Oldest first; as many steps as the dead time has.
    past: VecDeque<Seen>,
}

/// The air temperature during a step.
#[derive(Clone, Copy, Debug, PartialEq)]
pub(crate) struct Seen {
    /// At its start.
    pub(crate) start: f64,
    /// Half-way.
    pub(crate) middle: f64,
    /// At its end.
    pub(crate) end: f64,
}

/// A value and its rate of change.
#[derive(Clone, Copy, Debug)]
pub(crate) struct Moment {
    pub(crate) value: f64,
    pub(crate) rate: f64,
}

impl Seen {
    /// By cubic Hermite interpolation over `step_s`, which is as accurate as the integration. Both
    /// rates are those within the step: where a door opens, the rate jumps from one to the next.
    pub(crate) fn between(start: Moment, end: Moment, step_s: f64) -> Self {
        Self {
            start: start.value,
            middle: 0.5 * (start.value + end.value) + 0.125 * step_s * (start.rate - end.rate),
            end: end.value,
        }
    }
}

impl Delay {
    /// A dead time of `seconds`, rounded to whole steps and at least one, filled with `value`.
    pub(crate) fn new(seconds: f64, step_s: f64, value: f64) -> Self {
        let steps = (seconds / step_s).round().max(1.0) as usize;
        let still = Moment { value, rate: 0.0 };
        Self {
            past: std::iter::repeat_n(Seen::between(still, still, step_s), steps).collect(),
        }
    }

    /// What arrives during this step.
    pub(crate) fn arriving(&self) -> Option<Seen> {
        self.past.front().copied()
    }

    /// Ends the step: `left` is what left the element during it.
    pub(crate) fn end_step(&mut self, left: Seen) {
        self.past.pop_front();
        self.past.push_back(left);
    }
}

#[cfg(test)]
mod tests {
    use super::*;

    /// Closed form: a cubic passes through unchanged, 2 s late.
    #[test]
    fn a_cubic_comes_out_as_it_went_in_only_later() {
        let cubic = |t: f64| 1.0 + t * (2.0 + t * (-0.5 + 0.25 * t));
        let moment = |t: f64| Moment {
            value: cubic(t),
            rate: 2.0 - t + 0.75 * t * t,
        };
        let mut delay = Delay::new(2.0, 0.5, cubic(0.0));
        for k in 0..40 {
            let t = f64::from(k) * 0.5;
            if t >= 2.0 {
                let seen = delay.arriving().unwrap();
                assert!((seen.start - cubic(t - 2.0)).abs() < 1e-9);
                assert!((seen.middle - cubic(t - 1.75)).abs() < 1e-9);
                assert!((seen.end - cubic(t - 1.5)).abs() < 1e-9);
            }
            delay.end_step(Seen::between(moment(t), moment(t + 0.5), 0.5));
        }
    }
}
