//! Finds the two steps to compare, and measures both over the same window.

use crate::analysis::{
    AnalysisError, Episode, EpisodeKind, GivenStep, Options, compare_steps, find_episodes,
};
use crate::record::LoopRecord;

/// What a person may say about which steps to compare and how.
#[derive(Clone, Copy, Debug, Default, PartialEq)]
pub struct Wanted {
    /// The episode before, counted from 1 in the order of `find_episodes`; `None` chooses.
    pub before: Option<usize>,
    /// The episode after, likewise.
    pub after: Option<usize>,
    /// Half-width of the band to settle in; `None` takes the record's, else 2 % of the step.
    pub band: Option<f64>,
    /// The integrals look no further than this many seconds.
    pub window_s: Option<f64>,
    /// The step before, where the record does not show it.
    pub before_given: Option<GivenStep>,
    /// The step after, likewise.
    pub after_given: Option<GivenStep>,
}

/// The two steps, their integrals over the same window.
#[derive(Clone, Debug, PartialEq)]
pub struct Pair {
    /// The step before.
    pub before: Episode,
    /// The step after.
    pub after: Episode,
}

/// Why there are no two steps to compare.
#[derive(Clone, Debug, PartialEq, thiserror::Error)]
pub enum PairError {
    /// A record with no setpoint step.
    #[error(
        "{which}: '{name}' holds no setpoint step\n\
         help: the setpoint must change at once and stay; 'emberline measure' lists what a record holds"
    )]
    NoStep {
        /// `before` or `after`.
        which: &'static str,
        /// The record.
        name: String,
    },
    /// One record with fewer steps than two.
    #[error(
        "'{name}' holds only one setpoint step, and before and after need one each\n\
         help: make the same step again after the change, or give another recording"
    )]
    OneStep {
        /// The record.
        name: String,
    },
    /// An episode that does not exist or is no step.
    #[error(
        "{which}: episode {number} of '{name}' is no setpoint step\n\
         help: its steps are {steps}"
    )]
    NotAStep {
        /// `before` or `after`.
        which: &'static str,
        /// The record.
        name: String,
        /// What was asked for.
        number: usize,
        /// What could be.
        steps: String,
    },
    /// A record that cannot be analysed.
    #[error("'{name}': {error}")]
    Analysis {
        /// The record.
        name: String,
        /// Why.
        error: AnalysisError,
    },
}

/// A record with its episodes.
struct Measured<'a> {
    which: &'static str,
    record: &'a LoopRecord,
    episodes: Vec<Episode>,
}

/// Chooses a step of each record and measures both over the same window: the shorter of the two.
///
/// By default the last step of each record. Where both are one record (`one_record`): the last
/// step that began before the first autotune, and the last one after the last autotune that goes
/// from and to the same setpoints; without an autotune, the first step and the last like it.
///
/// # Errors
/// A record that cannot be analysed, or has no such step.
pub fn pair(
    before: &LoopRecord,
    after: &LoopRecord,
    one_record: bool,
    wanted: Wanted,
) -> Result<Pair, PairError> {
    let first = Measured::new("before", before, wanted.band, wanted.before_given)?;
    let second = Measured::new("after", after, wanted.band, wanted.after_given)?;
    let before_step = match (wanted.before, wanted.before_given) {
        (Some(number), _) => first.numbered(number)?,
        (None, Some(given)) => first.given(given)?,
        (None, None) if one_record => first.before_autotune()?,
        (None, None) => first.last()?,
    };
    let after_step = match (wanted.after, wanted.after_given) {
        (Some(number), _) => second.numbered(number)?,
        (None, Some(given)) => second.given(given)?,
        (None, None) if one_record => second.like(before_step)?,
        (None, None) => second.last()?,
    };
    let cut = |step: &Episode| shortened(step, wanted.window_s);
    let (mut before_step, mut after_step) = (before_step.clone(), after_step.clone());
    let numbers = compare_steps(
        (&before.trace(), &cut(&before_step)),
        (&after.trace(), &cut(&after_step)),
    );
    before_step.numbers = numbers.before;
    after_step.numbers = numbers.after;
    Ok(Pair {
        before: before_step,
        after: after_step,
    })
}

/// The same step, ending early where the integrals should look no further.
fn shortened(step: &Episode, window_s: Option<f64>) -> Episode {
    let end_s = window_s.map_or(step.end_s, |window| step.end_s.min(step.start_s + window));
    Episode {
        end_s,
        ..step.clone()
    }
}

impl<'a> Measured<'a> {
    fn new(
        which: &'static str,
        record: &'a LoopRecord,
        band: Option<f64>,
        given: Option<GivenStep>,
    ) -> Result<Self, PairError> {
        let options = Options {
            band: band.or(record.band),
            told: record.told(),
            given,
            ..Options::default()
        };
        let episodes =
            find_episodes(&record.trace(), &options).map_err(|error| fail(record, error))?;
        Ok(Self {
            which,
            record,
            episodes,
        })
    }

    fn steps(&self) -> impl DoubleEndedIterator<Item = &Episode> {
        self.episodes
            .iter()
            .filter(|episode| episode.kind == EpisodeKind::SetpointStep)
    }

    fn last(&self) -> Result<&Episode, PairError> {
        self.steps().next_back().ok_or_else(|| self.no_step())
    }

    /// The step that a person named; without a time it is the first.
    fn given(&self, given: GivenStep) -> Result<&Episode, PairError> {
        let at_s = given.at_s.unwrap_or(f64::NEG_INFINITY);
        self.steps()
            .find(|step| step.start_s >= at_s)
            .ok_or_else(|| self.no_step())
    }

    fn numbered(&self, number: usize) -> Result<&Episode, PairError> {
        let episode = number
            .checked_sub(1)
            .and_then(|place| self.episodes.get(place));
        episode
            .filter(|episode| episode.kind == EpisodeKind::SetpointStep)
            .ok_or_else(|| PairError::NotAStep {
                which: self.which,
                name: self.record.name.clone(),
                number,
                steps: self.step_numbers(),
            })
    }

    fn before_autotune(&self) -> Result<&Episode, PairError> {
        let Some(tune_s) = self.autotunes().next().map(|tune| tune.start_s) else {
            return self.steps().next().ok_or_else(|| self.no_step());
        };
        self.steps()
            .rfind(|step| step.start_s < tune_s)
            .ok_or_else(|| self.no_step())
    }

    /// The last step after the last autotune that is the same step as another.
    fn like(&self, other: &Episode) -> Result<&Episode, PairError> {
        let tune_s = self
            .autotunes()
            .next_back()
            .map_or(f64::NEG_INFINITY, |tune| tune.end_s);
        let later = || {
            self.steps()
                .filter(|step| step.start_s > other.start_s.max(tune_s))
        };
        later()
            .rfind(|step| step.is_like(other))
            // Another step is still shown, and said not to be the same test.
            .or_else(|| later().next_back())
            .ok_or_else(|| PairError::OneStep {
                name: self.record.name.clone(),
            })
    }

    fn autotunes(&self) -> impl DoubleEndedIterator<Item = &Episode> {
        self.episodes
            .iter()
            .filter(|episode| episode.kind == EpisodeKind::Autotune)
    }

    fn no_step(&self) -> PairError {
        PairError::NoStep {
            which: self.which,
            name: self.record.name.clone(),
        }
    }

    /// `2 and 5`, for an error.
    fn step_numbers(&self) -> String {
        let numbers: Vec<String> = self
            .episodes
            .iter()
            .enumerate()
            .filter(|(_, episode)| episode.kind == EpisodeKind::SetpointStep)
            .map(|(place, _)| (place + 1).to_string())
            .collect();
        if numbers.is_empty() {
            return "none".to_owned();
        }
        super::format::list(&numbers.iter().map(String::as_str).collect::<Vec<_>>())
    }
}

fn fail(record: &LoopRecord, error: AnalysisError) -> PairError {
    PairError::Analysis {
        name: record.name.clone(),
        error,
    }
}
