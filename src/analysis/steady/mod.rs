//! How steady a loop was while it was to hold a value: one pass over the samples, in memory that does
//! not grow with the record.
//!
//! ```text
//! samples -> gate (which count: approach, settled)  -> tally -> moments, quantiles, band, cells (hours, days),
//!                                                               allan, cycle (grid, welch, peak, sine),
//!                                                               bins -> drift (least), cycle
//! ```

mod result;
mod sum;
mod moments;
mod sketch;
mod quantiles;
mod band;
mod cells;
mod bins;
mod allan;
mod least;
mod drift;
mod grid;
mod welch;
mod peak;
mod sine;
mod cycle;
mod relay;
mod tally;
mod approach;
mod gate;
mod finish;
mod notes;

pub use allan::allan_deviation;
pub use result::{
    AllanPoint, Cycle, DayRow, Drift, Excursion, HourRow, Relay, RowFigures, Steady, SteadyOptions,
    SteadyOutput, SteadySample,
};

use self::gate::Gate;
use self::relay::Switching;
use self::tally::Tally;
use super::check::{AnalysisError, check};
use super::diagnosis::Symptoms;
use super::gaps::{Gaps, sample_period};
use super::noise::noise_sd;
use super::outline::STEP_OVER_NOISE;
use crate::trace::Trace;

/// From so many samples at the beginning the usual interval and the noise are learned.
const LEARN_FROM: usize = 1 << 15;
/// Changes of a noisy (analogue) setpoint smaller than so many standard deviations are noise.
const SETPOINT_NOISE: f64 = 6.0;

/// Works out how steady a loop was, from samples that are pushed one after the other.
///
/// With a setpoint only holds count. A hold ends where the setpoint changes and begins where the loop
/// has settled again by the rule of a step's `settling_s`; what it takes to be certain of that waits in
/// memory: 262,144 samples at most (three days of seconds), and a loop that has not settled by then
/// counts again only after the next change. Autotunes do not count. A hold of five minutes or less does
/// not count. With [`SteadyOptions::around`], and where there is no setpoint, everything counts.
///
/// ```
/// use emberline::analysis::{SteadyOptions, SteadySample, Steadiness};
/// let options = SteadyOptions { band: Some(1.5), ..SteadyOptions::default() };
/// let mut steadiness = Steadiness::new(options);
/// // An hour at 510, swinging by 2 degrees every 5 minutes.
/// for second in 0..3600 {
///     let time_s = f64::from(second);
///     steadiness.push(&SteadySample {
///         time_s,
///         pv: 510.0 + 2.0 * (time_s * std::f64::consts::TAU / 300.0).sin(),
///         setpoint: 510.0,
///         output: 40.0,
///         autotune: false,
///     });
/// }
/// let found = steadiness.finish();
/// assert_eq!(found.count, 3600);
/// assert!((found.sd.unwrap() - 2.0_f64.sqrt()).abs() < 1e-3);
/// // A sine is inside 3/4 of its amplitude for 2/pi asin(3/4) of the time.
/// assert!((found.in_band_pct.unwrap() - 53.99).abs() < 0.05);
/// let cycle = found.cycle.unwrap();
/// assert!((cycle.period_s - 300.0).abs() < 0.5 && (cycle.amplitude - 2.0).abs() < 0.01);
/// ```
pub struct Steadiness {
    options: SteadyOptions,
    /// Samples until enough is known of them.
    first: Vec<SteadySample>,
    running: Option<Running>,
    last_s: f64,
    /// Samples that were left out because they were earlier than the one before.
    early: u64,
}

/// What works once the first samples have been seen.
struct Running {
    period_s: f64,
    gaps: Gaps,
    /// `None` where everything counts.
    gate: Option<Gate>,
    tally: Tally,
    switching: Switching,
    symptoms: Symptoms,
    first_s: f64,
    last_s: f64,
}

impl Steadiness {
    /// Nothing yet.
    pub fn new(options: SteadyOptions) -> Self {
        Self {
            options,
            first: Vec::new(),
            running: None,
            last_s: f64::NEG_INFINITY,
            early: 0,
        }
    }

    /// One more sample. One without a finite time and process value is as good as none; one that is
    /// earlier than the one before it is left out, which a note tells.
    #[inline]
    pub fn push(&mut self, sample: &SteadySample) {
        if !(sample.pv.is_finite() && sample.time_s.is_finite()) {
            return;
        }
        if sample.time_s < self.last_s {
            self.early += 1;
            return;
        }
        self.last_s = sample.time_s;
        if let Some(running) = &mut self.running {
            running.push(sample);
            return;
        }
        self.first.push(*sample);
        if self.first.len() == LEARN_FROM {
            self.run();
        }
    }

    fn run(&mut self) -> &mut Running {
        let first = std::mem::take(&mut self.first);
        let mut running = Running::of(&self.options, &first);
        for sample in &first {
            running.push(sample);
        }
        self.running.insert(running)
    }

    /// What there is to know.
    pub fn finish(mut self) -> Steady {
        if self.running.is_none() {
            self.run();
        }
        match self.running {
            Some(running) => finish::finish(running, &self.options, self.early),
            None => Steady::default(),
        }
    }
}

impl Running {
    fn of(options: &SteadyOptions, first: &[SteadySample]) -> Self {
        let column = |of: fn(&SteadySample) -> f64| first.iter().map(of);
        let times: Vec<f64> = column(|it| it.time_s).collect();
        let values: Vec<f64> = column(|it| it.pv).collect();
        let setpoints: Vec<f64> = column(|it| it.setpoint).filter(|it| !it.is_nan()).collect();
        let period_s = sample_period(&times);
        let min_step = (STEP_OVER_NOISE * noise_sd(&values)).max(1.0);
        let judge = (options.band, options.min_step.unwrap_or(min_step), period_s);
        let holds_only = options.around.is_none() && !setpoints.is_empty();
        let noise = SETPOINT_NOISE * noise_sd(&setpoints);
        let mut tally = Tally::new(period_s, options.band, options.wall.clone());
        if !holds_only {
            tally.begin_hold(options.around.unwrap_or(f64::NAN));
        }
        Self {
            period_s,
            gaps: Gaps::of_period(period_s),
            gate: holds_only.then(|| Gate::new(judge, noise, options.other_changes_s.clone())),
            tally,
            switching: Switching::default(),
            symptoms: Symptoms::new(period_s),
            first_s: times.first().copied().unwrap_or_default(),
            last_s: times.first().copied().unwrap_or_default(),
        }
    }

    fn push(&mut self, sample: &SteadySample) {
        self.last_s = sample.time_s;
        self.switching.add(sample.time_s, sample.output, self.gaps);
        self.symptoms
            .take(sample.time_s, sample.pv, sample.setpoint, sample.output);
        match &mut self.gate {
            Some(gate) => gate.push(sample, &mut self.tally),
            None => self.tally.take(sample.time_s, sample.pv, sample.output),
        }
    }
}

/// How steady the loop of a trace was.
///
/// # Errors
/// A trace that is no trace (see [`AnalysisError`]).
///
/// ```
/// use emberline::analysis::{SteadyOptions, Trace, steady};
/// let trace = Trace {
///     time_s: &[0.0, 10.0, 20.0, 30.0],
///     pv: &[510.0, 512.0, 511.0, 509.0],
///     setpoint: None,
///     output: None,
///     autotune: None,
/// };
/// let around = SteadyOptions { around: Some(510.0), band: Some(1.0), ..SteadyOptions::default() };
/// let found = steady(&trace, &around).unwrap();
/// assert_eq!((found.mean, found.min, found.max), (Some(510.5), Some(509.0), Some(512.0)));
/// // Outside from 5 s, when the line passes 511, to 20 s, when it comes back there.
/// assert!((found.in_band_pct.unwrap() - 50.0).abs() < 1e-9);
/// assert_eq!((found.excursions[0].start_s, found.excursions[0].peak), (5.0, 2.0));
/// ```
pub fn steady(trace: &Trace<'_>, options: &SteadyOptions) -> Result<Steady, AnalysisError> {
    check(trace)?;
    let mut steadiness = Steadiness::new(options.clone());
    let at = |column: Option<&[f64]>, index: usize| column.map_or(f64::NAN, |it| it[index]);
    for (index, (time_s, pv)) in trace.time_s.iter().zip(trace.pv).enumerate() {
        steadiness.push(&SteadySample {
            time_s: *time_s,
            pv: *pv,
            setpoint: at(trace.setpoint, index),
            output: at(trace.output, index),
            autotune: trace.autotune.is_some_and(|it| it[index]),
        });
    }
    Ok(steadiness.finish())
}
