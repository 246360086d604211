//! From a change of the setpoint until the loop has settled.

use super::super::episode::Window;
use super::super::step::{Step, measure};
use super::result::SteadySample;
use crate::trace::Trace;

/// Samples an approach may have before it is given up: three days of seconds.
pub(super) const MOST: usize = 1 << 18;
/// It is judged when there are so many samples, and again whenever there are half as many more.
const FIRST_LOOK: usize = 64;
/// Settled for certain only when as much time again has gone by, and at least so much.
const SURE_AFTER_S: f64 = 300.0;
/// The start of a step is sought in the last minute before it, in so many samples at most.
const BEFORE: usize = 4096;

/// The last samples before the present one.
#[derive(Clone, Debug, Default)]
pub(super) struct Before {
    samples: Vec<(f64, f64)>,
}

impl Before {
    #[inline]
    pub(super) fn push(&mut self, time_s: f64, value: f64) {
        if self.samples.len() == 2 * BEFORE {
            self.samples.drain(..BEFORE);
        }
        self.samples.push((time_s, value));
    }
}

/// An approach that is under way: from the last change of the setpoint on.
#[derive(Clone, Debug)]
pub(super) struct Approach {
    /// The setpoint before the first change; `None` where the record, or a tune, came before.
    pub(super) from: Option<f64>,
    /// When the setpoint began to move, and when it arrived.
    pub(super) began_s: f64,
    pub(super) arrived_s: f64,
    pub(super) target: f64,
    /// What the record did before is looked at from here on.
    pub(super) since_s: f64,
    /// The samples before it arrived.
    pub(super) before: Vec<(f64, f64)>,
    /// All samples since.
    pub(super) samples: Vec<SteadySample>,
    next_look: usize,
}

/// What an approach is judged by.
#[derive(Clone, Copy, Debug)]
pub(super) struct Judge {
    pub(super) band: Option<f64>,
    pub(super) min_step: f64,
    pub(super) period_s: f64,
    /// Changes within this time are one.
    pub(super) keying_s: f64,
}

impl Approach {
    pub(super) fn new(
        from: Option<f64>,
        at_s: f64,
        target: f64,
        since_s: f64,
        before: &Before,
    ) -> Self {
        Self {
            from,
            began_s: at_s,
            arrived_s: at_s,
            target,
            since_s,
            before: before.samples.clone(),
            samples: Vec::new(),
            next_look: FIRST_LOOK,
        }
    }

    /// The setpoint moved on before it had stayed.
    pub(super) fn moves_on(&mut self, at_s: f64, target: f64) {
        let passed = self.samples.drain(..).map(|it| (it.time_s, it.pv));
        self.before.extend(passed);
        let useless = self.before.len().saturating_sub(BEFORE);
        self.before.drain(..useless);
        self.arrived_s = at_s;
        self.target = target;
    }

    /// Whether the setpoint ended hardly away from where it was.
    pub(super) fn is_small(&self, judge: Judge) -> bool {
        self.from
            .is_some_and(|from| (self.target - from).abs() <= judge.min_step)
    }

    /// Whether it is time to judge again.
    pub(super) fn is_due(&mut self) -> bool {
        let is_due = self.samples.len() >= self.next_look.min(MOST);
        if is_due {
            self.next_look += self.samples.len() / 2;
        }
        is_due
    }

    /// Since when it has settled, if that is certain by now.
    pub(super) fn surely_settled_s(&self, judge: Judge) -> Option<f64> {
        let after_s = self.settled_after_s(judge)?;
        let passed_s = self.samples.last()?.time_s - self.arrived_s;
        (passed_s >= after_s + after_s.max(SURE_AFTER_S)).then_some(self.arrived_s + after_s)
    }

    /// Since when it has settled, nothing more being known of it.
    pub(super) fn settled_s(&self, judge: Judge) -> Option<f64> {
        self.settled_after_s(judge)
            .map(|after_s| self.arrived_s + after_s)
    }

    /// As a step is measured; a ramp counts from its end, with 2 % of all its way where there is no
    /// band.
    fn settled_after_s(&self, judge: Judge) -> Option<f64> {
        let samples = || self.samples.iter().map(|it| (it.time_s, it.pv));
        let all = || self.before.iter().copied().chain(samples());
        let time_s: Vec<f64> = all().map(|it| it.0).collect();
        let pv: Vec<f64> = all().map(|it| it.1).collect();
        let trace = Trace {
            time_s: &time_s,
            pv: &pv,
            setpoint: None,
            output: None,
            autotune: None,
        };
        let is_ramp = self.arrived_s - self.began_s > judge.keying_s;
        let of_ramp = self
            .from
            .filter(|_| is_ramp)
            .map(|from| 0.02 * (self.target - from).abs());
        let step = Step {
            at_s: self.arrived_s,
            end_s: *time_s.last()?,
            since_s: self.since_s,
            from: self.from,
            target: self.target,
            band: judge.band.or(of_ramp),
            min_step: judge.min_step,
        };
        let measured = measure(&trace, &step, Window::Whole, judge.period_s);
        measured.ok()?.numbers.settling_s
    }
}
