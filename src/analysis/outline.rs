//! The causes in a record, and what bounds its episodes, before anything is worked out.

use super::changes::{Movement, movements};
use super::check::AnalysisError;
use super::find::Options;
use super::gaps::sample_period;
use super::given::with_given;
use super::noise::noise_sd;
use super::output_step::{Causes, OutputStep};
use super::step::Step;
use super::switching::{Switching, runs, switchings};
use super::tune::{Tune, tunes};
use crate::trace::{Mode, Trace};

/// A step is larger than so many standard deviations of the noise, and than one degree.
pub(crate) const STEP_OVER_NOISE: f64 = 3.0;

/// The causes of a record, each list in order.
pub(crate) struct Outline<'a> {
    pub(crate) trace: &'a Trace<'a>,
    pub(crate) options: &'a Options,
    pub(crate) min_step: f64,
    pub(crate) period_s: f64,
    pub(crate) movements: Vec<Movement>,
    pub(crate) tunes: Vec<Tune>,
    pub(crate) switchings: Vec<Switching>,
    pub(crate) output_steps: Vec<OutputStep>,
    /// Everything that ends a window; first the record's beginning, last its end.
    bounds: Vec<f64>,
}

impl<'a> Outline<'a> {
    /// `None` for an empty trace.
    pub(crate) fn of(
        trace: &'a Trace<'a>,
        options: &'a Options,
    ) -> Result<Option<Self>, AnalysisError> {
        let (Some(first_s), Some(last_s)) = (trace.time_s.first(), trace.time_s.last()) else {
            return Ok(None);
        };
        let own = trace
            .setpoint
            .map_or_else(Vec::new, |setpoint| movements(trace.time_s, setpoint));
        let mut movements = with_given(trace, own, options.given.as_ref())?;
        let runs = runs(trace);
        let period_s = sample_period(trace.time_s);
        let switchings = switchings(trace, &runs, period_s);
        let tunes = tunes(trace, &switchings, &movements, &options.told);
        // What the setpoint does during a tune is part of the tune.
        movements.retain(|movement| tune_at(&tunes, movement.begins_s).is_none());
        let causes = Causes {
            runs: &runs,
            movements: &movements,
            tunes: &tunes,
            switchings: &switchings,
            told: &options.told,
        };
        let mut outline = Self {
            trace,
            options,
            min_step: options
                .min_step
                .unwrap_or((STEP_OVER_NOISE * noise_sd(trace.pv)).max(1.0)),
            period_s,
            output_steps: causes.steps(),
            bounds: vec![*first_s, *last_s],
            movements,
            tunes,
            switchings,
        };
        outline.add_bounds();
        outline.keep_output_steps()?;
        Ok(Some(outline))
    }

    /// The bounds, but for those of output steps.
    fn add_bounds(&mut self) {
        let told = &self.options.told;
        let explained = |at_s: f64| {
            let mut steps = self.output_steps.iter();
            steps.any(|step| step.explains(at_s, told))
        };
        let by_hand = told.changes_s.iter().copied();
        let by_hand =
            by_hand.filter(|at_s| tune_at(&self.tunes, *at_s).is_none() && !explained(*at_s));
        let mut all: Vec<f64> = by_hand.collect();
        for movement in &self.movements {
            all.extend([movement.begins_s, movement.arrives_s]);
        }
        for tune in &self.tunes {
            all.extend([tune.begins_s, tune.ends_s]);
        }
        self.bound_at(&all);
    }

    /// Keeps the output steps that the process value followed; each is a bound.
    fn keep_output_steps(&mut self) -> Result<(), AnalysisError> {
        let candidates = std::mem::take(&mut self.output_steps);
        let next = candidates.iter().skip(1).map(|step| step.at_s);
        let next: Vec<f64> = next.chain([f64::INFINITY]).collect();
        let mut bounds = Vec::new();
        for (step, next_s) in candidates.iter().zip(next) {
            let bound_s = self.bound_after(step.at_s).min(next_s);
            let window = self.output_window(step, bound_s);
            let by_mode = self.is_by_mode(step);
            let rests = by_mode || step.rests_until(bound_s, self.last_s());
            let measured = || step.measure(self.trace, &window, self.period_s, by_mode);
            if rests && measured()?.is_some() {
                bounds.push(step.at_s);
                bounds.extend(step.until_s);
                self.output_steps.push(step.clone());
            }
        }
        self.bound_at(&bounds);
        Ok(())
    }

    /// Whether the mode tells that an output step was by hand.
    pub(crate) fn is_by_mode(&self, step: &OutputStep) -> bool {
        self.options.told.mode_at(step.at_s) == Mode::Manual
    }

    /// An output step's window up to a bound; where it went is not known before it is measured.
    pub(crate) fn output_window(&self, step: &OutputStep, bound_s: f64) -> Step {
        Step {
            at_s: step.at_s,
            end_s: step.until_s.map_or(bound_s, |until| until.min(bound_s)),
            since_s: self.bound_before(step.at_s),
            from: None,
            target: f64::NAN,
            band: self.options.band,
            min_step: self.min_step,
        }
    }

    fn bound_at(&mut self, times: &[f64]) {
        let (first_s, last_s) = (self.bounds[0], self.last_s());
        let inside = |at_s: &&f64| (first_s..=last_s).contains(*at_s);
        self.bounds.extend(times.iter().filter(inside));
        self.bounds.sort_by(f64::total_cmp);
        self.bounds.dedup();
    }

    fn last_s(&self) -> f64 {
        self.bounds[self.bounds.len() - 1]
    }

    /// From each bound to the next.
    pub(crate) fn stretches(&self) -> impl Iterator<Item = (f64, f64)> {
        self.bounds.windows(2).map(|pair| (pair[0], pair[1]))
    }

    /// The next bound; the time itself after the last.
    pub(crate) fn bound_after(&self, at_s: f64) -> f64 {
        let next = self.bounds.partition_point(|bound| *bound <= at_s);
        self.bounds.get(next).copied().unwrap_or(at_s)
    }

    /// The bound before; the time itself before the first.
    pub(crate) fn bound_before(&self, at_s: f64) -> f64 {
        let end = self.bounds.partition_point(|bound| *bound < at_s);
        let last = end.checked_sub(1).map(|last| self.bounds[last]);
        last.unwrap_or(at_s)
    }

    /// The setpoint in force at a time: that of the last movement, else the last one in the record.
    pub(crate) fn setpoint_in_force(&self, at_s: f64) -> Option<f64> {
        let moved = self
            .movements
            .partition_point(|movement| movement.arrives_s <= at_s);
        match moved.checked_sub(1) {
            Some(last) => Some(self.movements[last].to),
            None => self.setpoint_at(at_s),
        }
    }

    /// The last setpoint known at a time, or before any the first.
    pub(crate) fn setpoint_at(&self, at_s: f64) -> Option<f64> {
        let setpoint = self.trace.setpoint?;
        let end = self.trace.time_s.partition_point(|t| *t <= at_s);
        let known = |value: &&f64| value.is_finite();
        let last = setpoint[..end].iter().rfind(known);
        last.or_else(|| setpoint.iter().find(known)).copied()
    }

    /// Whether a movement is under way.
    pub(crate) fn is_moving(&self, at_s: f64) -> bool {
        let after = self
            .movements
            .partition_point(|movement| movement.arrives_s <= at_s);
        self.movements
            .get(after)
            .is_some_and(|movement| movement.begins_s <= at_s)
    }
}

/// The tune that is under way.
pub(crate) fn tune_at(tunes: &[Tune], at_s: f64) -> Option<&Tune> {
    let after = tunes.partition_point(|tune| tune.ends_s <= at_s);
    tunes.get(after).filter(|tune| tune.contains(at_s))
}
