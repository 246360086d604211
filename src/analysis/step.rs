//! The numbers of one step.

use super::check::{AnalysisError, check};
use super::course::{Aim, Course, course};
use super::episode::{Note, StepNumbers, Window};
use super::gaps::{Gaps, sample_period};
use super::integrals::integrals;
use super::noise::noise_sd;
use super::notes;
use super::nothing;
use super::output_limit::Way;
use super::rest::LastPart;
use super::start::{Start, start};
use super::stretch::Stretch;
use super::trust;
use crate::trace::Trace;

/// A step, by whatever means it was found.
#[derive(Clone, Debug, PartialEq)]
pub struct Step {
    /// When it began, in the trace's seconds: the first sample that carries the new setpoint.
    pub at_s: f64,
    /// When its window ends, in the trace's seconds; later than the record means its end.
    pub end_s: f64,
    /// When the episode before it began: the process value at the start is not sought before.
    pub since_s: f64,
    /// Setpoint before, where it is known.
    pub from: Option<f64>,
    /// Setpoint after.
    pub target: f64,
    /// Half-width of the band to settle in; `None` is 2 % of the step.
    pub band: Option<f64>,
    /// A step smaller than this has no percentages.
    pub min_step: f64,
}

/// The numbers of a step and what must be known to trust them.
#[derive(Clone, Debug, Default, PartialEq)]
pub struct Measured {
    /// The numbers.
    pub numbers: StepNumbers,
    /// The notes.
    pub notes: Vec<Note>,
}

/// Everything that is found out on the way, once.
pub(crate) struct Findings<'a> {
    pub(crate) step: &'a Step,
    pub(crate) line: Stretch,
    pub(crate) samples: Stretch,
    pub(crate) gaps: Gaps,
    pub(crate) start: Start,
    /// Target minus start.
    pub(crate) delta: f64,
    pub(crate) sign: f64,
    pub(crate) noise_sd: f64,
    pub(crate) settling_band: Option<f64>,
    pub(crate) course: Course,
}

/// Works out the numbers of `step`, the integrals over `window`.
///
/// A number that cannot be had is `None`, with a note that says why. Gaps are bridged by a straight
/// line and noted where they may hide something.
///
/// # Errors
/// A trace that is no trace (see [`AnalysisError`]), and a step that begins outside it.
///
/// ```
/// use emberline::analysis::{Step, Trace, Window, step_numbers};
/// // First order, time constant 60 s, from 20 to 120 degrees. In closed form: no overshoot, rise
/// // tau ln 9 = 131.83 s, settled within 2 % after tau ln 50 = 234.72 s, IAE = 100 tau = 6000.
/// let time_s: Vec<f64> = (0..=900).map(f64::from).collect();
/// let pv: Vec<f64> = time_s.iter().map(|t| 120.0 - 100.0 * (-t / 60.0).exp()).collect();
/// let trace = Trace { time_s: &time_s, pv: &pv, setpoint: None, output: None, autotune: None };
/// let step = Step {
///     at_s: 0.0,
///     end_s: 900.0,
///     since_s: 0.0,
///     from: None,
///     target: 120.0,
///     band: None,
///     min_step: 1.0,
/// };
/// let numbers = step_numbers(&trace, &step, Window::Whole).unwrap().numbers;
/// assert_eq!(numbers.overshoot, Some(0.0));
/// assert!((numbers.rise_s.unwrap() - 60.0 * 9.0_f64.ln()).abs() < 0.01);
/// assert!((numbers.settling_s.unwrap() - 60.0 * 50.0_f64.ln()).abs() < 0.01);
/// assert!((numbers.iae.unwrap() - 6000.0).abs() < 0.2);
/// ```
pub fn step_numbers(
    trace: &Trace<'_>,
    step: &Step,
    window: Window,
) -> Result<Measured, AnalysisError> {
    check(trace)?;
    measure(trace, step, window, sample_period(trace.time_s))
}

/// [`step_numbers`] of a trace that was checked and whose usual interval is known.
pub(crate) fn measure(
    trace: &Trace<'_>,
    step: &Step,
    window: Window,
    period_s: f64,
) -> Result<Measured, AnalysisError> {
    let Some((found, mut measured)) = response(trace, step, window, period_s)? else {
        return Ok(Measured::default());
    };
    let way = Way {
        trace,
        from_s: step.at_s,
        to_s: step.end_s,
        target: step.target,
        sign: found.sign,
    };
    let limit = way.at_limit(step.at_s + found.approach_s());
    if let Some(limit) = limit {
        measured
            .notes
            .extend(notes::output_at_limit(limit, period_s));
        measured
            .notes
            .extend(trust::unreachable(&found, &way, limit));
    }
    measured.notes.extend(trust::coarse_sensor(&found));
    measured
        .notes
        .extend(nothing::of_step(&found, &measured.numbers));
    Ok(measured)
}

/// What the process value did after a step, whatever moved it; and what was found on the way.
pub(crate) fn response<'a>(
    trace: &Trace<'_>,
    step: &'a Step,
    window: Window,
    period_s: f64,
) -> Result<Option<(Findings<'a>, Measured)>, AnalysisError> {
    let Some(found) = Findings::of(trace, step, period_s)? else {
        return Ok(None);
    };
    let end_s = step.at_s + found.line.end_s();
    let missing_s = found.gaps.missing_between(trace.time_s, step.at_s, end_s);
    let numbers = StepNumbers {
        missing_s: Some(missing_s),
        ..found.numbers(window)
    };
    let mut notes = notes::about(&found, &numbers);
    notes.extend(notes::before_the_step(trace, step, found.gaps));
    Ok(Some((found, Measured { numbers, notes })))
}

impl<'a> Findings<'a> {
    fn of(trace: &Trace<'_>, step: &'a Step, period_s: f64) -> Result<Option<Self>, AnalysisError> {
        let line = within(trace, step)?;
        let Some(start) = start(trace, step, &line) else {
            return Ok(None);
        };
        let delta = step.target - start.value;
        let sign = direction(delta, step);
        let samples = Stretch::samples(trace, step.at_s, step.end_s);
        Ok(Some(Self::judged(
            step,
            (line, samples),
            start,
            (delta, sign),
            period_s,
        )))
    }

    /// Judges a line that is to arrive at the step's target, `delta` away in the direction of `sign`.
    pub(crate) fn judged(
        step: &'a Step,
        (line, samples): (Stretch, Stretch),
        start: Start,
        (delta, sign): (f64, f64),
        period_s: f64,
    ) -> Self {
        let noise_sd = noise_sd(&samples.y);
        let two_percent = (delta.abs() >= step.min_step).then_some(0.02 * delta.abs());
        let settling_band = step.band.or(two_percent);
        let aim = Aim {
            line: &line,
            target: step.target,
            sign,
            sample_s: period_s,
            noise_sd,
        };
        let course = course(aim, settling_band, two_percent);
        Self {
            step,
            gaps: Gaps::of_period(period_s),
            start,
            delta,
            sign,
            noise_sd,
            settling_band,
            course,
            line,
            samples,
        }
    }

    /// The last part of the window.
    pub(crate) fn last(&self) -> LastPart<'_> {
        LastPart::of(&self.samples, self.line.end_s())
    }

    /// Whether the step is large enough to be divided by.
    pub(crate) fn has_percentages(&self) -> bool {
        self.delta.abs() >= self.step.min_step
    }

    /// The times at which 10 % and 90 % of the step were first reached.
    pub(crate) fn rise(&self) -> [Option<super::stretch::Crossing>; 2] {
        [0.1, 0.9].map(|part| {
            let level = self.start.value + part * self.delta;
            self.line.first_reaches(level, self.sign)
        })
    }

    /// From the step to the first arrival, or to the window's end.
    fn approach_s(&self) -> f64 {
        self.line
            .first_reaches(self.step.target, self.sign)
            .map_or(self.line.end_s(), |arrival| arrival.at_s)
    }

    pub(crate) fn numbers(&self, window: Window) -> StepNumbers {
        let rise = self.has_percentages().then(|| self.rise());
        let sums = match window {
            Window::Whole => self.line.clone(),
            Window::AtMost(seconds) => self.line.until(seconds),
        };
        let integral = integrals(&sums.t, &sums.y, self.step.target);
        let over = &self.course.overshoot;
        let smoothed = notes::noise_matters(self).then(|| over.smoothed(self));
        StepNumbers {
            initial: Some(self.start.value),
            overshoot: Some(over.size),
            overshoot_pct: self
                .has_percentages()
                .then(|| 100.0 * over.size / self.delta.abs()),
            overshoot_smoothed: smoothed,
            peak_s: over.peak.map(|index| self.line.t[index]),
            rise_s: rise.and_then(|[ten, ninety]| Some(ninety?.at_s - ten?.at_s)),
            settling_s: self.course.settled.map(|settled| settled.at_s),
            settling_band: self.settling_band,
            settling_2pct_s: self.course.settled_2pct.map(|settled| settled.at_s),
            final_error: self.last().mean_over(self.step.target),
            iae: Some(integral.iae),
            ise: Some(integral.ise),
            itae: Some(integral.itae),
            itse: Some(integral.itse),
            window_s: Some(sums.end_s()),
            noise_sd: Some(self.noise_sd),
            period_s: self.course.oscillation.peak_to_peak_s,
            amplitude: self
                .course
                .oscillation
                .amplitude
                .filter(|_| self.course.settled.is_none()),
            decay_ratio: self.course.oscillation.decay_ratio,
            // What reaches into the window the whole trace knows.
            missing_s: None,
        }
    }
}

/// The window's line; an error for a step that begins outside the record.
fn within(trace: &Trace<'_>, step: &Step) -> Result<Stretch, AnalysisError> {
    let ends = trace.time_s.first().zip(trace.time_s.last());
    let Some((first_s, last_s)) = ends else {
        return Ok(Stretch::cut(trace, 0.0, 0.0));
    };
    if !(*first_s..=*last_s).contains(&step.at_s) {
        return Err(AnalysisError::StepOutside {
            at_s: step.at_s,
            first_s: *first_s,
            last_s: *last_s,
        });
    }
    Ok(Stretch::cut(trace, step.at_s, step.end_s))
}

/// +1 for a rise, -1 for a fall.
fn direction(delta: f64, step: &Step) -> f64 {
    let by_setpoint = step.from.map_or(0.0, |from| step.target - from);
    if delta < 0.0 || (delta == 0.0 && by_setpoint < 0.0) {
        -1.0
    } else {
        1.0
    }
}
