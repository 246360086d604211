//! Finds the episodes of a record.

use super::changes::{Manner, Movement, movements};
use super::check::{AnalysisError, check};
use super::episode::{Episode, EpisodeKind, Note, StepNumbers, Window};
use super::gaps::{Gaps, sample_period};
use super::given::{GivenStep, with_given};
use super::noise::noise_sd;
use super::step::{Step, final_error, measure};
use super::stretch::Stretch;
use crate::trace::Trace;

/// A hold lasts longer than this.
const HOLD_S: f64 = 300.0;
/// A step is larger than so many standard deviations of the noise, and than one degree.
const STEP_OVER_NOISE: f64 = 3.0;

/// What a person may say about a record.
#[derive(Clone, Debug, Default, PartialEq)]
pub struct Options {
    /// Half-width of the band to settle in; `None` is 2 % of each step.
    pub band: Option<f64>,
    /// Smallest change of the setpoint that is a step; `None` is 1 degree, or three times the
    /// noise where that is more.
    pub min_step: Option<f64>,
    /// A step that the record itself does not show.
    pub given: Option<GivenStep>,
    /// Times of other changes that end a window, in the trace's seconds: of mode or tuning.
    pub other_changes_s: Vec<f64>,
}

/// The causes of a record in order, before anything is worked out.
struct Outline<'a> {
    trace: &'a Trace<'a>,
    options: &'a Options,
    min_step: f64,
    period_s: f64,
    movements: Vec<Movement>,
    autotunes: Vec<(f64, f64)>,
    /// Everything that ends a window, in order; first the record's beginning, last its end.
    bounds: Vec<f64>,
}

/// Finds every episode of `trace`, in the order they begin, with its numbers.
///
/// Setpoint steps, ramps (their times only), autotunes (from the trace's own column) and holds.
/// An empty trace has none.
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
    let mut found: Vec<Episode> = outline.autotunes().collect();
    for movement in &outline.movements {
        found.extend(outline.movement(movement)?);
    }
    found.extend(outline.holds(&found));
    found.sort_by(|a, b| a.start_s.total_cmp(&b.start_s));
    Ok(found)
}

impl<'a> Outline<'a> {
    fn of(trace: &'a Trace<'a>, options: &'a Options) -> Result<Option<Self>, AnalysisError> {
        let ends = trace.time_s.first().zip(trace.time_s.last());
        let Some((first_s, last_s)) = ends.map(|(a, b)| (*a, *b)) else {
            return Ok(None);
        };
        let autotunes = autotunes(trace);
        let own = trace
            .setpoint
            .map_or_else(Vec::new, |setpoint| movements(trace.time_s, setpoint));
        let mut movements = with_given(trace, own, options.given.as_ref())?;
        // What the setpoint does during a tune is part of the tune.
        let tuning = |at_s: f64| {
            autotunes
                .iter()
                .any(|(from, to)| (*from..*to).contains(&at_s))
        };
        movements.retain(|movement| !tuning(movement.begins_s));
        let mut bounds = vec![first_s, last_s];
        bounds.extend(movements.iter().flat_map(Movement::bounds));
        bounds.extend(autotunes.iter().flat_map(|(from, to)| [*from, *to]));
        let others = options.other_changes_s.iter().copied();
        bounds.extend(others.filter(|at_s| !tuning(*at_s)));
        bounds.retain(|at_s| (first_s..=last_s).contains(at_s));
        bounds.sort_by(f64::total_cmp);
        bounds.dedup();
        let noise = STEP_OVER_NOISE * noise_sd(trace.pv);
        Ok(Some(Self {
            trace,
            options,
            min_step: options.min_step.unwrap_or(noise.max(1.0)),
            period_s: sample_period(trace.time_s),
            movements,
            autotunes,
            bounds,
        }))
    }

    fn autotunes(&self) -> impl Iterator<Item = Episode> {
        self.autotunes.iter().map(|(from_s, to_s)| Episode {
            from: self.setpoint_at(*from_s),
            to: self.setpoint_at(*to_s),
            ..self.bare(EpisodeKind::Autotune, *from_s, *to_s)
        })
    }

    fn movement(&self, movement: &Movement) -> Result<Option<Episode>, AnalysisError> {
        match movement.manner {
            Manner::Steadily => Ok(Some(Episode {
                from: Some(movement.from),
                to: Some(movement.to),
                ..self.bare(EpisodeKind::Ramp, movement.begins_s, movement.arrives_s)
            })),
            Manner::AtOnce => self.step(movement),
        }
    }

    fn step(&self, movement: &Movement) -> Result<Option<Episode>, AnalysisError> {
        let known = movement.from.is_finite();
        if known && (movement.to - movement.from).abs() <= self.min_step {
            return Ok(None);
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
        let measured = measure(self.trace, &step, Window::Whole, self.period_s)?;
        Ok(Some(Episode {
            kind: EpisodeKind::SetpointStep,
            start_s: step.at_s,
            end_s: step.end_s,
            from: step.from.or(measured.numbers.initial),
            to: Some(step.target),
            numbers: measured.numbers,
            notes: measured.notes,
        }))
    }

    /// What remains: the settled part of each step, and every stretch that no other episode claims.
    fn holds(&self, found: &[Episode]) -> Vec<Episode> {
        let stretches = self.bounds.windows(2).map(|pair| (pair[0], pair[1]));
        stretches
            .filter_map(|(from_s, to_s)| Some((self.hold_begins(from_s, found)?, to_s)))
            .filter(|(from_s, to_s)| to_s - from_s > HOLD_S)
            .map(|(from_s, to_s)| self.hold(from_s, to_s))
            .collect()
    }

    /// Where in the stretch that begins at `from_s` the hold begins, if anywhere.
    fn hold_begins(&self, from_s: f64, found: &[Episode]) -> Option<f64> {
        let keyed =
            |movement: &Movement| movement.begins_s <= from_s && from_s < movement.arrives_s;
        if self.movements.iter().any(keyed) {
            return None;
        }
        let here = |episode: &&Episode| episode.start_s.total_cmp(&from_s).is_eq();
        match found.iter().find(here) {
            None => Some(from_s),
            Some(step) if step.kind == EpisodeKind::SetpointStep => {
                Some(from_s + step.numbers.settling_s?)
            }
            Some(_) => None,
        }
    }

    fn hold(&self, from_s: f64, to_s: f64) -> Episode {
        let line = Stretch::cut(self.trace, from_s, to_s);
        let setpoint = self
            .movements
            .iter()
            .rfind(|movement| movement.arrives_s <= from_s)
            .map(|movement| movement.to)
            .or_else(|| self.setpoint_at(from_s));
        let mut hold = self.bare(EpisodeKind::Hold, from_s, to_s);
        hold.from = setpoint;
        hold.to = setpoint;
        hold.numbers.final_error = setpoint.and_then(|target| final_error(&line, target));
        hold
    }

    /// An episode with only what every kind has.
    fn bare(&self, kind: EpisodeKind, start_s: f64, end_s: f64) -> Episode {
        let line = Stretch::cut(self.trace, start_s, end_s);
        Episode {
            kind,
            start_s,
            end_s,
            from: None,
            to: None,
            numbers: StepNumbers {
                window_s: Some(end_s - start_s),
                noise_sd: Some(noise_sd(&line.y)),
                missing_s: Some(Gaps::of_period(self.period_s).missing_s(&line.t)),
                ..StepNumbers::default()
            },
            notes: Vec::<Note>::new(),
        }
    }

    fn bound_after(&self, at_s: f64) -> f64 {
        let next = self.bounds.iter().find(|bound| **bound > at_s);
        next.copied().unwrap_or(at_s)
    }

    fn bound_before(&self, at_s: f64) -> f64 {
        let last = self.bounds.iter().rfind(|bound| **bound < at_s);
        last.copied().unwrap_or(at_s)
    }

    /// The last setpoint known at a time.
    fn setpoint_at(&self, at_s: f64) -> Option<f64> {
        let setpoint = self.trace.setpoint?;
        let end = self.trace.time_s.partition_point(|t| *t <= at_s);
        let known = setpoint[..end].iter().rfind(|value| value.is_finite());
        known.copied()
    }
}

impl Movement {
    /// The moments at which it ends what was before and begins what comes.
    fn bounds(&self) -> [f64; 2] {
        [self.begins_s, self.arrives_s]
    }
}

/// Stretches with the autotune active: from its first sample to the first one after it.
fn autotunes(trace: &Trace<'_>) -> Vec<(f64, f64)> {
    let Some(active) = trace.autotune else {
        return Vec::new();
    };
    let mut found = Vec::new();
    let mut first = 0;
    for run in active.chunk_by(|a, b| a == b) {
        let end = first + run.len();
        if run[0] {
            found.push((trace.time_s[first], trace.time_s[end.min(active.len() - 1)]));
        }
        first = end;
    }
    found
}
