//! Finds the episodes of a record.

use super::changes::{Manner, Movement};
use super::check::{AnalysisError, check};
use super::episode::{Episode, EpisodeKind, StepNumbers, Window};
use super::gaps::Gaps;
use super::given::GivenStep;
use super::holds::{Arrival, holds};
use super::noise::noise_sd;
use super::outline::Outline;
use super::output_step::OutputStep;
use super::own::OwnNumbers;
use super::ramp;
use super::step::{Step, measure};
use super::stretch::Stretch;
use super::trust;
use super::tune::Tune;
use crate::trace::{Told, Trace};

/// What a person may say about a record, and what is known beside its samples.
#[derive(Clone, Debug, Default, PartialEq)]
pub struct Options {
    /// Half-width of the band to settle in; `None` is 2 % of each step.
    pub band: Option<f64>,
    /// Smallest change of the setpoint that is a step; `None` is 1 degree, or three times the
    /// noise where that is more.
    pub min_step: Option<f64>,
    /// A step that the record itself does not show.
    pub given: Option<GivenStep>,
    /// What is known of the loop beside the samples.
    pub told: Told,
}

/// Finds every episode of `trace`, in the order they begin, with its numbers.
///
/// Setpoint steps, ramps, output steps, autotunes (from the trace's own column, else inferred from an
/// output that switches between two levels for a few cycles), disturbances, and holds and soaks. An
/// empty trace has none.
///
/// # Errors
/// A trace that is no trace, and a given step that lies outside it or has no target.
///
/// ```
/// use emberline::analysis::{EpisodeKind, Options, Trace, find_episodes};
/// // Ten minutes at 490, then a step to 510 that arrives within 60 s and stays.
/// let time_s: Vec<f64> = (0..1800).map(f64::from).collect();
/// let setpoint: Vec<f64> = time_s.iter().map(|t| if *t < 600.0 { 490.0 } else { 510.0 }).collect();
/// let pv: Vec<f64> = time_s.iter().map(|t| 490.0 + ((t - 600.0) / 3.0).clamp(0.0, 20.0)).collect();
/// let trace = Trace {
///     time_s: &time_s,
///     pv: &pv,
///     setpoint: Some(&setpoint),
///     output: None,
///     autotune: None,
/// };
/// let options = Options { band: Some(2.0), ..Options::default() };
/// let found = find_episodes(&trace, &options).unwrap();
/// let kinds: Vec<_> = found.iter().map(|episode| episode.kind).collect();
/// assert_eq!(kinds, [EpisodeKind::Hold, EpisodeKind::SetpointStep, EpisodeKind::Hold]);
/// // The line meets 508 after 54 s; the error is a triangle of 20 degrees and 60 s.
/// assert!((found[1].numbers.settling_s.unwrap() - 54.0).abs() < 1e-9);
/// assert!((found[1].numbers.iae.unwrap() - 600.0).abs() < 1e-9);
/// ```
pub fn find_episodes(trace: &Trace<'_>, options: &Options) -> Result<Vec<Episode>, AnalysisError> {
    check(trace)?;
    let Some(outline) = Outline::of(trace, options)? else {
        return Ok(Vec::new());
    };
    let mut found: Vec<Episode> = outline.tune_episodes();
    let mut arrivals = Vec::new();
    for movement in &outline.movements {
        let (episode, arrival) = outline.movement(movement)?;
        found.extend(episode);
        arrivals.extend(arrival);
    }
    for step in &outline.output_steps {
        found.extend(outline.output_step(step)?);
    }
    found.extend(holds(&outline, &arrivals));
    found.sort_by(|a, b| a.start_s.total_cmp(&b.start_s));
    Ok(found)
}

impl Outline<'_> {
    fn tune_episodes(&self) -> Vec<Episode> {
        let later = self.tunes.iter().skip(1).map(|tune| tune.begins_s);
        let tunes = self.tunes.iter().zip(later.chain([f64::INFINITY]));
        tunes
            .map(|(tune, next_s)| self.tune_episode(tune, next_s))
            .collect()
    }

    fn tune_episode(&self, tune: &Tune, next_s: f64) -> Episode {
        let mut episode = self.bare(EpisodeKind::Autotune, tune.begins_s, tune.ends_s);
        let told = &self.options.told;
        let found = tune.measure(self.trace, &episode.numbers, told, next_s, self.period_s);
        episode.from = self.setpoint_at(tune.begins_s);
        episode.to = self.setpoint_at(tune.ends_s);
        episode.numbers.amplitude = found.amplitude;
        episode.numbers.period_s = found.period_s;
        episode.own.tune = found.own;
        episode.notes = found.notes;
        episode
    }

    /// The episode that a movement of the setpoint begins, if it is large enough for one, and how the
    /// process value arrived.
    fn movement(
        &self,
        movement: &Movement,
    ) -> Result<(Option<Episode>, Option<Arrival>), AnalysisError> {
        let known = movement.from.is_finite();
        if known && (movement.to - movement.from).abs() <= self.min_step {
            return Ok((None, None));
        }
        let step = Step {
            at_s: movement.arrives_s,
            end_s: self.bound_after(movement.arrives_s),
            since_s: self.bound_before(movement.begins_s),
            from: known.then_some(movement.from),
            target: movement.to,
            band: self.options.band,
            min_step: self.min_step,
        };
        let is_ramp = movement.manner == Manner::Steadily;
        let episode = if is_ramp {
            self.ramp(movement, &step)
        } else {
            self.step(movement, &step)?
        };
        let arrival = Arrival {
            at_s: step.at_s,
            settled_s: episode.numbers.settling_s,
            is_ramp,
        };
        Ok((Some(episode), Some(arrival)))
    }

    fn step(&self, movement: &Movement, step: &Step) -> Result<Episode, AnalysisError> {
        let mut measured = measure(self.trace, step, Window::Whole, self.period_s)?;
        measured.notes.extend(trust::merged(movement.changes));
        Ok(Episode {
            kind: EpisodeKind::SetpointStep,
            start_s: step.at_s,
            end_s: step.end_s,
            from: step.from.or(measured.numbers.initial),
            to: Some(step.target),
            numbers: measured.numbers,
            own: OwnNumbers::default(),
            notes: measured.notes,
        })
    }

    fn ramp(&self, movement: &Movement, arrival: &Step) -> Episode {
        let found = ramp::measure(self.trace, movement, arrival, self.period_s);
        Episode {
            kind: EpisodeKind::Ramp,
            start_s: movement.begins_s,
            end_s: movement.arrives_s,
            from: Some(movement.from),
            to: Some(movement.to),
            numbers: found.numbers,
            own: OwnNumbers {
                ramp: found.own,
                ..OwnNumbers::default()
            },
            notes: found.notes,
        }
    }

    fn output_step(&self, step: &OutputStep) -> Result<Option<Episode>, AnalysisError> {
        let window = self.output_window(step, self.bound_after(step.at_s));
        let by_mode = self.is_by_mode(step);
        let found = step.measure(self.trace, &window, self.period_s, by_mode)?;
        Ok(found.map(|found| Episode {
            kind: EpisodeKind::OutputStep,
            start_s: window.at_s,
            end_s: window.end_s,
            from: Some(found.from),
            to: found.to,
            numbers: found.measured.numbers,
            own: OwnNumbers {
                output: found.own,
                ..OwnNumbers::default()
            },
            notes: found.measured.notes,
        }))
    }

    /// An episode with only what every kind has.
    pub(crate) fn bare(&self, kind: EpisodeKind, start_s: f64, end_s: f64) -> Episode {
        let samples = Stretch::samples(self.trace, start_s, end_s);
        let gaps = Gaps::of_period(self.period_s);
        let missing_s = gaps.missing_between(self.trace.time_s, start_s, end_s);
        Episode {
            kind,
            start_s,
            end_s,
            from: None,
            to: None,
            numbers: StepNumbers {
                window_s: Some(end_s - start_s),
                noise_sd: Some(noise_sd(&samples.y)),
                missing_s: Some(missing_s),
                ..StepNumbers::default()
            },
            own: OwnNumbers::default(),
            notes: Vec::new(),
        }
    }
}
