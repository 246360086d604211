//! Which samples count: those of holds.

use super::super::changes::KEYING_S;
use super::super::holds::HOLD_S;
use super::approach::{Approach, Before, Judge, MOST};
use super::result::SteadySample;
use super::tally::Tally;

/// Decides about samples as they come, and passes those of holds on.
///
/// A change of the setpoint ends a hold; changes within half a minute are one. Where they come to
/// more than `min_step`, the next hold begins when the loop has settled (by the rule of a step's
/// settling time), which is certain only some time later: until then the samples wait. After a smaller
/// change it goes on at once, and so it does at the record's beginning and after a tune if the process
/// value is in the band (without a band: nearer than `min_step`); else the loop has to settle first.
/// A hold counts when it lasts longer than five minutes.
pub(super) struct Gate {
    judge: Judge,
    /// Changes of the setpoint smaller than this are noise.
    setpoint_noise: f64,
    other_changes: std::iter::Peekable<std::vec::IntoIter<f64>>,
    phase: Phase,
    /// In force; NaN before the first.
    setpoint: f64,
    /// When the last thing happened that begins a new stretch.
    since_s: f64,
    before: Before,
    /// Approaches that never settled, and when the first one began.
    pub(super) unsettled: Option<Unsettled>,
}

/// Approaches that never settled.
#[derive(Clone, Copy, Debug)]
pub(super) struct Unsettled {
    pub(super) count: u64,
    pub(super) first_s: f64,
    pub(super) target: f64,
}

enum Phase {
    /// Nothing counts: no setpoint yet, or one that was never settled at.
    Idle,
    Tuning,
    /// The setpoint moves, or may move on.
    Moving(Approach),
    Settling(Approach),
    Holding(Hold),
}

/// A hold that counts once it has lasted.
struct Hold {
    began_s: f64,
    setpoint: f64,
    /// The samples while it has not; `None` when it counts.
    waiting: Option<Vec<SteadySample>>,
}

impl Gate {
    pub(super) fn new(
        judge: (Option<f64>, f64, f64),
        setpoint_noise: f64,
        other_changes_s: Vec<f64>,
    ) -> Self {
        let (band, min_step, period_s) = judge;
        Self {
            judge: Judge {
                band,
                min_step,
                period_s,
                keying_s: KEYING_S,
            },
            setpoint_noise,
            other_changes: other_changes_s.into_iter().peekable(),
            phase: Phase::Idle,
            setpoint: f64::NAN,
            since_s: f64::NEG_INFINITY,
            before: Before::default(),
            unsettled: None,
        }
    }

    pub(super) fn push(&mut self, sample: &SteadySample, out: &mut Tally) {
        let was_tuning = matches!(self.phase, Phase::Tuning);
        if sample.autotune != was_tuning {
            self.turn_tune(sample, out);
        }
        while self
            .other_changes
            .next_if(|at_s| *at_s <= sample.time_s)
            .is_some()
        {
            self.other_change(sample, out);
        }
        let differs = (sample.setpoint - self.setpoint).abs() > self.setpoint_noise;
        if differs || (self.setpoint.is_nan() && !sample.setpoint.is_nan()) {
            self.setpoint_changed(sample, out);
        }
        self.step(sample, out);
        self.before.push(sample.time_s, sample.pv);
    }

    fn turn_tune(&mut self, sample: &SteadySample, out: &mut Tally) {
        if sample.autotune {
            self.close(sample.time_s, out);
            self.phase = Phase::Tuning;
            return;
        }
        self.phase = Phase::Idle;
        if !sample.setpoint.is_nan() {
            self.setpoint = sample.setpoint;
        }
        self.begin(sample);
    }

    fn other_change(&mut self, sample: &SteadySample, out: &mut Tally) {
        if matches!(self.phase, Phase::Tuning) || self.setpoint.is_nan() {
            return;
        }
        self.close(sample.time_s, out);
        self.since_s = sample.time_s;
        self.hold(sample.time_s);
    }

    fn setpoint_changed(&mut self, sample: &SteadySample, out: &mut Tally) {
        let from = std::mem::replace(&mut self.setpoint, sample.setpoint);
        let at_s = sample.time_s;
        match &mut self.phase {
            Phase::Tuning => {}
            Phase::Moving(approach) if at_s - approach.arrived_s <= KEYING_S => {
                approach.moves_on(at_s, sample.setpoint);
            }
            _ if from.is_nan() => self.begin(sample),
            _ => {
                self.close(at_s, out);
                let approach = Approach::new(
                    Some(from),
                    at_s,
                    sample.setpoint,
                    self.since_s,
                    &self.before,
                );
                self.since_s = at_s;
                self.phase = Phase::Moving(approach);
            }
        }
    }

    /// The record, or what follows a tune, begins with this sample.
    fn begin(&mut self, sample: &SteadySample) {
        if self.setpoint.is_nan() {
            return;
        }
        self.since_s = sample.time_s;
        let off = (sample.pv - self.setpoint).abs();
        if off <= self.judge.band.unwrap_or(self.judge.min_step) {
            self.hold(sample.time_s);
            return;
        }
        let none = Before::default();
        let approach = Approach::new(None, sample.time_s, self.setpoint, self.since_s, &none);
        self.phase = Phase::Settling(approach);
    }

    fn hold(&mut self, began_s: f64) {
        self.phase = Phase::Holding(Hold::new(began_s, self.setpoint));
    }

    /// What the sample means where nothing changes.
    fn step(&mut self, sample: &SteadySample, out: &mut Tally) {
        match &mut self.phase {
            Phase::Idle | Phase::Tuning => {}
            Phase::Holding(hold) => hold.add(sample, out),
            Phase::Moving(approach) => {
                approach.samples.push(*sample);
                if sample.time_s - approach.arrived_s > KEYING_S {
                    self.has_arrived(out);
                }
            }
            Phase::Settling(approach) => {
                approach.samples.push(*sample);
                if approach.is_due() {
                    self.look(out);
                }
            }
        }
    }

    /// The setpoint stays where it is.
    fn has_arrived(&mut self, out: &mut Tally) {
        let Phase::Moving(approach) = std::mem::replace(&mut self.phase, Phase::Idle) else {
            return;
        };
        if approach.is_small(self.judge) {
            self.hold_since(approach.arrived_s, &approach, out);
        } else {
            self.phase = Phase::Settling(approach);
        }
    }

    /// Whether the loop has settled by now, or must be given up.
    fn look(&mut self, out: &mut Tally) {
        let Phase::Settling(approach) = std::mem::replace(&mut self.phase, Phase::Idle) else {
            return;
        };
        if let Some(at_s) = approach.surely_settled_s(self.judge) {
            self.hold_since(at_s, &approach, out);
        } else if approach.samples.len() >= MOST {
            self.end_approach(&approach, out);
        } else {
            self.phase = Phase::Settling(approach);
        }
    }

    /// Nothing more will be known of this approach.
    fn end_approach(&mut self, approach: &Approach, out: &mut Tally) {
        if let Some(at_s) = approach.settled_s(self.judge) {
            self.hold_since(at_s, approach, out);
            return;
        }
        let unsettled = self.unsettled.get_or_insert(Unsettled {
            count: 0,
            first_s: approach.arrived_s,
            target: approach.target,
        });
        unsettled.count += 1;
    }

    fn hold_since(&mut self, began_s: f64, approach: &Approach, out: &mut Tally) {
        let mut hold = Hold::new(began_s, approach.target);
        for sample in approach.samples.iter().filter(|it| it.time_s >= began_s) {
            hold.add(sample, out);
        }
        self.phase = Phase::Holding(hold);
    }

    /// The stretch ends with a sample at this time, which does not belong to it.
    fn close(&mut self, end_s: f64, out: &mut Tally) {
        if let Phase::Moving(_) = self.phase {
            self.has_arrived(out);
        }
        match std::mem::replace(&mut self.phase, Phase::Idle) {
            Phase::Settling(approach) => self.end_approach(&approach, out),
            other => self.phase = other,
        }
        match std::mem::replace(&mut self.phase, Phase::Idle) {
            Phase::Holding(hold) => hold.end(end_s, out),
            other => self.phase = other,
        }
    }

    /// The record ended at this time.
    pub(super) fn finish(&mut self, end_s: f64, out: &mut Tally) {
        self.close(end_s, out);
    }
}

impl Hold {
    fn new(began_s: f64, setpoint: f64) -> Self {
        Self {
            began_s,
            setpoint,
            waiting: Some(Vec::new()),
        }
    }

    fn add(&mut self, sample: &SteadySample, out: &mut Tally) {
        let Some(waiting) = &mut self.waiting else {
            out.take(sample.time_s, sample.pv, sample.output);
            return;
        };
        waiting.push(*sample);
        if sample.time_s - self.began_s > HOLD_S {
            self.counts(out);
        }
    }

    fn counts(&mut self, out: &mut Tally) {
        out.begin_hold(self.setpoint);
        for sample in self.waiting.take().into_iter().flatten() {
            out.take(sample.time_s, sample.pv, sample.output);
        }
    }

    fn end(mut self, end_s: f64, out: &mut Tally) {
        if self.waiting.is_some() && end_s - self.began_s > HOLD_S {
            self.counts(out);
        }
        if self.waiting.is_none() {
            out.end_hold();
        }
    }
}
