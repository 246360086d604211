//! What a step must reach to pass.

use crate::analysis::{Episode, Note, StepNumbers};

/// Limits that somebody has set for the step after the change.
#[derive(Clone, Debug, Default, PartialEq)]
pub struct Criteria {
    /// What the file is called, without the way to it.
    pub name: String,
    /// The unit its degrees are in, as files write it; `None` takes the loop's.
    pub unit: Option<String>,
    /// Half-width of the band for the settling time, in degrees.
    pub band: Option<f64>,
    /// How long after the step the numbers may look, in seconds.
    pub window_s: Option<f64>,
    /// The limits, in the order of [`Measure`]; at least one.
    pub limits: Vec<Limit>,
}

/// One limit.
#[derive(Clone, Copy, Debug, PartialEq)]
pub struct Limit {
    /// The number it is about.
    pub measure: Measure,
    /// The most it may be, in the unit of [`StepNumbers`].
    pub most: f64,
}

/// The numbers a limit can be set for.
#[derive(Clone, Copy, Debug, PartialEq, Eq, Hash)]
pub enum Measure {
    /// Largest excursion past the target, degrees.
    Overshoot,
    /// The same in percent of the step.
    OvershootPercent,
    /// Time until the process value stays in the band, seconds.
    Settling,
    /// From 10 % to 90 % of the step, seconds.
    Rise,
    /// Mean deviation at the end, either way, degrees.
    FinalError,
    /// Integral of the absolute error, degree.s.
    Iae,
}

/// A limit and what was measured.
#[derive(Clone, Copy, Debug, PartialEq)]
pub struct Outcome {
    /// The limit.
    pub limit: Limit,
    /// The number, in the limit's unit; `None` when it was not reached or does not apply.
    pub measured: Option<f64>,
    /// The number is only a lower bound: samples are missing where the peak may lie.
    pub lower_bound: bool,
    /// Whether the number is there, certain and within the limit.
    pub met: bool,
}

impl Criteria {
    /// Each limit with what a step reached.
    pub fn outcomes(&self, step: &Episode) -> Vec<Outcome> {
        let outcome = |limit: &Limit| {
            let measured = limit.measure.of(&step.numbers);
            let lower_bound = limit.measure.is_peak() && may_hide_a_peak(step);
            let within = measured.is_some_and(|value| value <= limit.most);
            Outcome {
                limit: *limit,
                measured,
                lower_bound,
                met: within && !lower_bound,
            }
        };
        self.limits.iter().map(outcome).collect()
    }
}

fn may_hide_a_peak(step: &Episode) -> bool {
    let hides = |note: &Note| note.code == "gap" && note.about == "overshoot";
    step.notes.iter().any(hides)
}

impl Measure {
    /// The key that limits it in a criteria file.
    pub const fn key(self) -> &'static str {
        match self {
            Self::Overshoot => "overshoot_max",
            Self::OvershootPercent => "overshoot_pct_max",
            Self::Settling => "settling_max",
            Self::Rise => "rise_max",
            Self::FinalError => "final_error_max",
            Self::Iae => "iae_max",
        }
    }

    /// Whether it is a length of time.
    pub fn is_time(self) -> bool {
        matches!(self, Self::Settling | Self::Rise)
    }

    /// Whether its unit is a degree, or holds one.
    pub(super) fn is_in_degrees(self) -> bool {
        matches!(self, Self::Overshoot | Self::FinalError | Self::Iae)
    }

    fn is_peak(self) -> bool {
        matches!(self, Self::Overshoot | Self::OvershootPercent)
    }

    /// What it is called in a sentence.
    pub(super) fn words(self) -> &'static str {
        match self {
            Self::Overshoot => "overshoot",
            Self::OvershootPercent => "overshoot in percent of the step",
            Self::Settling => "settling time",
            Self::Rise => "rise time",
            Self::FinalError => "final error, either way",
            Self::Iae => "IAE",
        }
    }

    /// Its value among a step's numbers.
    pub(super) fn of(self, numbers: &StepNumbers) -> Option<f64> {
        match self {
            Self::Overshoot => numbers.overshoot,
            Self::OvershootPercent => numbers.overshoot_pct,
            Self::Settling => numbers.settling_s,
            Self::Rise => numbers.rise_s,
            Self::FinalError => numbers.final_error.map(f64::abs),
            Self::Iae => numbers.iae,
        }
    }
}

#[cfg(test)]
mod tests {
    use super::*;
    use crate::analysis::{EpisodeKind, OwnNumbers};

    #[test]
    fn what_was_not_reached_does_not_pass() {
        let criteria = Criteria {
            limits: vec![
                Limit {
                    measure: Measure::Overshoot,
                    most: 2.0,
                },
                Limit {
                    measure: Measure::Settling,
                    most: 1200.0,
                },
                Limit {
                    measure: Measure::FinalError,
                    most: 0.5,
                },
            ],
            ..Criteria::default()
        };
        let step = Episode {
            kind: EpisodeKind::SetpointStep,
            start_s: 0.0,
            end_s: 3600.0,
            from: None,
            to: None,
            numbers: StepNumbers {
                overshoot: Some(2.0),
                final_error: Some(-0.6),
                ..StepNumbers::default()
            },
            own: OwnNumbers::default(),
            notes: Vec::new(),
        };
        let met: Vec<bool> = criteria.outcomes(&step).iter().map(|o| o.met).collect();
        assert_eq!(met, [true, false, false]);
    }
}
