//! Steps of the output in manual: where they are, and their numbers.

use super::changes::{KEYING_S, Movement};
use super::check::AnalysisError;
use super::episode::{EpisodeKind, Note, StepNumbers, Window};
use super::nothing;
use super::own::OutputNumbers;
use super::rest::LastPart;
use super::step::{Measured, Step, response};
use super::stretch::Stretch;
use super::switching::{Run, Switching};
use super::trust;
use super::tune::Tune;
use crate::trace::{Mode, Told, Trace};

/// A smaller change is no step, in percent.
const LEAST: f64 = 5.0;
/// Where no mode is known, the output rests so long before a step, on so many samples...
const REST_BEFORE_S: f64 = 60.0;
const REST_SAMPLES: usize = 10;
/// ...and so long after it; or, where something else ends that, at least so long.
const REST_AFTER_S: f64 = 300.0;
const LEAST_AFTER_S: f64 = 60.0;
/// A movement of the setpoint nearer than this is what moved the output.
const NEAR_S: f64 = 60.0;
/// Mode is a slow point, looked at once a minute: that it is manual may be told so much later.
const TOLD_LATE_S: f64 = 90.0;

/// A step of the output.
#[derive(Clone, Debug, PartialEq)]
pub(crate) struct OutputStep {
    /// The first sample with the new output.
    pub(crate) at_s: f64,
    from: f64,
    to: f64,
    /// Where the output is another again, if only that tells that it was by hand.
    pub(crate) until_s: Option<f64>,
    changes: usize,
}

/// What the output did, and what else tells who moved it.
pub(crate) struct Causes<'a> {
    pub(crate) runs: &'a [Run],
    pub(crate) movements: &'a [Movement],
    pub(crate) tunes: &'a [Tune],
    pub(crate) switchings: &'a [Switching],
    pub(crate) told: &'a Told,
}

impl Causes<'_> {
    /// Every change of the output that can be a step by hand, in order.
    pub(crate) fn steps(&self) -> Vec<OutputStep> {
        let mut found = self.in_manual();
        found.extend((1..self.runs.len()).filter_map(|index| self.at_rest(index)));
        found.sort_by(|a, b| a.at_s.total_cmp(&b.at_s));
        found
    }

    /// Those that the mode tells: changes that were keyed together are one.
    fn in_manual(&self) -> Vec<OutputStep> {
        // On both sides: from control's last output to the first by hand is no step.
        let manual = |at_s: f64| self.told.mode_at(at_s) == Mode::Manual;
        let by_hand = |pair: &&[Run]| manual(pair[0].last_s) && manual(pair[1].begins_s);
        if !self
            .told
            .modes
            .iter()
            .any(|(_, mode)| *mode == Mode::Manual)
        {
            return Vec::new();
        }
        let mut found: Vec<OutputStep> = Vec::new();
        for pair in self.runs.windows(2).filter(by_hand) {
            let at_s = pair[1].begins_s;
            match found.last_mut() {
                Some(last) if at_s - last.at_s <= KEYING_S => {
                    (last.at_s, last.to) = (at_s, pair[1].level);
                    last.changes += 1;
                }
                _ => found.push(OutputStep {
                    at_s,
                    from: pair[0].last_level,
                    to: pair[1].level,
                    until_s: None,
                    changes: 1,
                }),
            }
        }
        found.retain(|step| (step.to - step.from).abs() >= LEAST && !self.is_in_tune(step.at_s));
        found
    }

    /// Run `index`, if it begins with a step that shows only in that the output rests before and
    /// after it.
    fn at_rest(&self, index: usize) -> Option<OutputStep> {
        let (before, after) = (&self.runs[index - 1], &self.runs[index]);
        let at_s = after.begins_s;
        let rested = before.samples >= REST_SAMPLES && at_s - before.begins_s >= REST_BEFORE_S;
        let is_large = (after.level - before.last_level).abs() >= LEAST;
        let is_last = index + 1 == self.runs.len();
        if !rested || !is_large || after.length_s() < LEAST_AFTER_S {
            return None;
        }
        let may_be_by_hand = match self.told.mode_at(at_s) {
            Mode::Unknown => true,
            Mode::Manual => false,
            Mode::Automatic | Mode::Stopped => {
                self.told.mode_at(at_s + TOLD_LATE_S) == Mode::Manual
            }
        };
        let is_step = may_be_by_hand
            && !self.is_near_movement(at_s)
            && !self.is_in_tune(at_s)
            && !self.is_switching(at_s);
        is_step.then(|| OutputStep {
            at_s,
            from: before.last_level,
            to: after.level,
            until_s: (!is_last).then_some(after.ends_s),
            changes: 1,
        })
    }

    fn is_near_movement(&self, at_s: f64) -> bool {
        let from = self
            .movements
            .partition_point(|movement| movement.arrives_s < at_s - NEAR_S);
        self.movements
            .get(from)
            .is_some_and(|movement| movement.begins_s <= at_s + NEAR_S)
    }

    fn is_in_tune(&self, at_s: f64) -> bool {
        let near = |tune: &Tune| tune.begins_s <= at_s && at_s <= tune.ends_s;
        self.tunes.iter().any(near)
    }

    fn is_switching(&self, at_s: f64) -> bool {
        let after = self
            .switchings
            .partition_point(|switching| switching.ends_s < at_s);
        self.switchings
            .get(after)
            .is_some_and(|switching| switching.begins_s <= at_s)
    }
}

impl OutputStep {
    /// Whether a change of mode to manual, told at `change_s`, is what this step was made in.
    pub(crate) fn explains(&self, change_s: f64, told: &Told) -> bool {
        (self.at_s..=self.at_s + TOLD_LATE_S).contains(&change_s)
            && told.mode_at(change_s) == Mode::Manual
            && told.mode_at(self.at_s) != Mode::Manual
    }

    /// Whether it rests long enough before another change ends it at `bound_s`, if one does.
    pub(crate) fn rests_until(&self, bound_s: f64, last_s: f64) -> bool {
        match self.until_s {
            Some(until_s) if until_s <= bound_s && until_s < last_s => {
                until_s - self.at_s >= REST_AFTER_S
            }
            _ => bound_s - self.at_s >= LEAST_AFTER_S.min(last_s - self.at_s),
        }
    }

    /// Its numbers, where the process value moved with the output, or the mode tells of it; and
    /// where the process value came from and went to.
    pub(crate) fn measure(
        &self,
        trace: &Trace<'_>,
        window: &Step,
        period_s: f64,
        by_mode: bool,
    ) -> Result<Option<MeasuredOutputStep>, AnalysisError> {
        let samples = Stretch::samples(trace, window.at_s, window.end_s);
        let last = LastPart::of(&samples, window.end_s - window.at_s);
        let Some(target) = last.mean_over(0.0) else {
            return Ok(None);
        };
        let step = Step {
            target,
            ..window.clone()
        };
        let Some((found, mut measured)) = response(trace, &step, Window::Whole, period_s)? else {
            return Ok(None);
        };
        let moved = (self.to - self.from).signum() * found.delta > step.min_step;
        if !by_mode && !moved {
            return Ok(None);
        }
        let initial = found.start.value;
        let rests = last.is_level(found.delta, found.noise_sd);
        if rests {
            measured.notes.extend(trust::coarse_sensor(&found));
            let nothing = nothing::of_step(&found, &measured.numbers);
            measured.notes.extend(nothing);
        } else {
            measured = not_at_rest(&measured.numbers);
        }
        measured.notes.extend(trust::merged(self.changes));
        Ok(Some(MeasuredOutputStep {
            own: OutputNumbers {
                output_from: Some(self.from),
                output_to: Some(self.to),
            },
            from: initial,
            to: rests.then_some(target),
            measured,
        }))
    }
}

/// An output step and what came of it.
pub(crate) struct MeasuredOutputStep {
    pub(crate) own: OutputNumbers,
    pub(crate) from: f64,
    pub(crate) to: Option<f64>,
    pub(crate) measured: Measured,
}

/// Without a value to come to, only what does not need one.
fn not_at_rest(numbers: &StepNumbers) -> Measured {
    const KNOWN: [&str; 6] = [
        "output_from",
        "output_to",
        "initial",
        "window_s",
        "noise_sd",
        "missing_s",
    ];
    let names = EpisodeKind::OutputStep.numbers().iter();
    let missing = names.filter(|name| !KNOWN.contains(name));
    let note = |about: &&'static str| {
        let text = "the process value has not come to rest: let the step run on";
        Note::new("not-at-rest", about, text)
    };
    Measured {
        notes: ["to"].iter().chain(missing).map(note).collect(),
        numbers: StepNumbers {
            initial: numbers.initial,
            window_s: numbers.window_s,
            noise_sd: numbers.noise_sd,
            missing_s: numbers.missing_s,
            ..StepNumbers::default()
        },
    }
}
