//! A verdict in words.

use super::criteria::Outcome;
use super::format;
use super::verdict::{Change, Direction, Judgement, Verdict};

impl Verdict {
    /// The verdict for people, as a sentence of its own.
    pub fn words(self) -> &'static str {
        match self {
            Self::Pass => "Pass.",
            Self::Fail => "Fail.",
            Self::Improved => "Improved.",
            Self::Mixed => "Better and worse.",
            Self::NotImproved => "Not improved.",
            Self::NoVerdict => "No verdict.",
        }
    }
}

impl Judgement {
    /// What was compared and how it came out; after "No verdict." the obstacles follow.
    pub fn reason(&self) -> String {
        match self.verdict {
            Verdict::Pass => match self.outcomes.len() {
                1 => "The step after meets its one criterion.".to_owned(),
                count => format!("The step after meets all {count} criteria."),
            },
            Verdict::Fail => failed_sentence(&self.outcomes),
            Verdict::NoVerdict => "Before and after cannot be compared with each other:".to_owned(),
            Verdict::Improved | Verdict::Mixed | Verdict::NotImproved => format!(
                "{}{} One step before and one after were compared.",
                ways(&self.changes),
                if self.rise.direction == Direction::Worse {
                    " The rise is slower."
                } else {
                    ""
                }
            ),
        }
    }
}

fn failed_sentence(outcomes: &[Outcome]) -> String {
    let missed: Vec<&str> = outcomes
        .iter()
        .filter(|outcome| !outcome.met)
        .map(|outcome| outcome.limit.measure.words())
        .collect();
    format!(
        "The step after misses {} of {} criteria: {}.",
        missed.len(),
        outcomes.len(),
        format::list(&missed)
    )
}

/// `Better: overshoot and settling time. Same: accumulated error (IAE).`
fn ways(changes: &[Change]) -> String {
    let kinds = [
        (Direction::Better, "Better"),
        (Direction::Worse, "Worse"),
        (Direction::Same, "About the same"),
        (Direction::Unknown, "Not known"),
    ];
    let sentences: Vec<String> = kinds
        .iter()
        .filter_map(|(direction, word)| {
            let names: Vec<&str> = changes
                .iter()
                .filter(|change| change.direction == *direction)
                .map(|change| change.measure.words())
                .collect();
            (!names.is_empty()).then(|| format!("{word}: {}.", format::list(&names)))
        })
        .collect();
    sentences.join(" ")
}
