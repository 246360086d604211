//! What may be said about two steps: pass or fail, improved or not, or nothing at all.

use crate::analysis::Note;

use super::comparison::Comparison;
use super::criteria::{Measure, Outcome};
use super::obstacle;

/// What a comparison comes to.
#[derive(Clone, Debug, PartialEq)]
pub struct Judgement {
    /// In one word.
    pub verdict: Verdict,
    /// Each limit of the criteria with what the step after reached; empty without criteria.
    pub outcomes: Vec<Outcome>,
    /// Overshoot, settling time and IAE before and after.
    pub changes: Vec<Change>,
    /// Rise time before and after; it does not decide, but a slower one is told.
    pub rise: Change,
    /// Why before and after are not the same test; empty when they are, as far as the records tell.
    pub obstacles: Vec<Note>,
}

/// The word for it.
#[derive(Clone, Copy, Debug, PartialEq, Eq)]
pub enum Verdict {
    /// The step after meets every criterion.
    Pass,
    /// It misses at least one.
    Fail,
    /// No criteria were given; something got better and nothing worse.
    Improved,
    /// No criteria were given; something got better and something worse.
    Mixed,
    /// No criteria were given; nothing got better.
    NotImproved,
    /// Before and after are not the same test.
    NoVerdict,
}

/// One number before and after.
#[derive(Clone, Copy, Debug, PartialEq)]
pub struct Change {
    /// Which number.
    pub measure: Measure,
    /// Before; `None` when it was not reached or does not apply.
    pub before: Option<f64>,
    /// After.
    pub after: Option<f64>,
    /// Which way it went.
    pub direction: Direction,
}

/// Which way a number went. Smaller is better for all of them.
#[derive(Clone, Copy, Debug, PartialEq, Eq)]
pub enum Direction {
    /// Smaller, or reached where it was not.
    Better,
    /// Larger, or no longer reached.
    Worse,
    /// Too near to call.
    Same,
    /// One of the two is not known.
    Unknown,
}

/// Differences smaller than this share of the larger number are called the same. Our own choice, a
/// reading aid and no statistics: two single runs have no known spread. It is told in the report.
pub(super) const SAME_SHARE: f64 = 0.02;
/// Overshoots that differ by fewer standard deviations of the noise than this are called the same.
pub(super) const SAME_NOISE: f64 = 3.0;

impl Verdict {
    /// The word for programs.
    pub fn word(self) -> &'static str {
        match self {
            Self::Pass => "pass",
            Self::Fail => "fail",
            Self::Improved => "improved",
            Self::Mixed => "mixed",
            Self::NotImproved => "not-improved",
            Self::NoVerdict => "no-verdict",
        }
    }
}

impl Comparison<'_> {
    /// What may be said about the two steps.
    pub fn judge(&self) -> Judgement {
        let obstacles = obstacle::find(self);
        let changes = [Measure::Overshoot, Measure::Settling, Measure::Iae]
            .map(|measure| self.change(measure))
            .to_vec();
        let outcomes = self
            .criteria
            .map(|criteria| criteria.outcomes(self.after.episode))
            .unwrap_or_default();
        let verdict = if obstacles.is_empty() {
            verdict(&outcomes, &changes)
        } else {
            Verdict::NoVerdict
        };
        Judgement {
            verdict,
            outcomes,
            changes,
            rise: self.change(Measure::Rise),
            obstacles,
        }
    }

    fn change(&self, measure: Measure) -> Change {
        let [before, after] = self.sides().map(|side| measure.of(&side.episode.numbers));
        Change {
            measure,
            before,
            after,
            direction: direction(before, after, self.resolution(measure), measure),
        }
    }

    /// Differences below this are not called differences.
    fn resolution(&self, measure: Measure) -> f64 {
        let noise = |side: super::Side<'_>| side.episode.numbers.noise_sd.unwrap_or(0.0);
        match measure {
            Measure::Overshoot => {
                SAME_NOISE * self.sides().map(noise).into_iter().fold(0.0, f64::max)
            }
            _ => 0.0,
        }
    }
}

fn verdict(outcomes: &[Outcome], changes: &[Change]) -> Verdict {
    let any = |wanted| changes.iter().any(|change| change.direction == wanted);
    if !outcomes.is_empty() {
        return if outcomes.iter().all(|outcome| outcome.met) {
            Verdict::Pass
        } else {
            Verdict::Fail
        };
    }
    match (any(Direction::Better), any(Direction::Worse)) {
        (true, false) => Verdict::Improved,
        (true, true) => Verdict::Mixed,
        (false, _) => Verdict::NotImproved,
    }
}

fn direction(
    before: Option<f64>,
    after: Option<f64>,
    resolution: f64,
    measure: Measure,
) -> Direction {
    match (before, after) {
        (Some(before), Some(after)) => {
            let near = resolution.max(SAME_SHARE * before.abs().max(after.abs()));
            match after - before {
                difference if difference.abs() <= near => Direction::Same,
                difference if difference < 0.0 => Direction::Better,
                _ => Direction::Worse,
            }
        }
        // A settling time that is not there was not reached.
        (None, Some(_)) if measure == Measure::Settling => Direction::Better,
        (Some(_), None) if measure == Measure::Settling => Direction::Worse,
        _ => Direction::Unknown,
    }
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn small_differences_are_called_the_same() {
        let way = |a, b, near| direction(Some(a), Some(b), near, Measure::Overshoot);
        assert_eq!(way(10.0, 9.9, 0.0), Direction::Same);
        assert_eq!(way(10.0, 9.0, 0.0), Direction::Better);
        assert_eq!(way(10.0, 9.0, 1.5), Direction::Same);
        assert_eq!(way(0.0, 0.5, 0.1), Direction::Worse);
    }

    #[test]
    fn settling_where_it_never_settled_is_better() {
        let way = |a, b| direction(a, b, 0.0, Measure::Settling);
        assert_eq!(way(None, Some(900.0)), Direction::Better);
        assert_eq!(way(Some(900.0), None), Direction::Worse);
        assert_eq!(way(None, None), Direction::Unknown);
        let rise = direction(None, Some(1.0), 0.0, Measure::Rise);
        assert_eq!(rise, Direction::Unknown);
    }
}
