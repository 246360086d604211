//! Whether the unit answers, and whether its sensor does.

use super::Finding;
use crate::sample::{Happening, Reading, Sample, State, Why};

/// One lost answer is a row; so many in a row are an event (common practice, no source).
const SILENT_AFTER: u32 = 3;

/// Follows the state of one loop's samples.
#[derive(Debug, Default)]
pub(super) struct AnswerWatch {
    missed: u32,
    silent: bool,
    faulty: bool,
}

impl AnswerWatch {
    pub(super) fn on(&mut self, sample: &Sample) -> Vec<Finding> {
        let mut findings = Vec::new();
        findings.extend(self.silence(sample.state));
        findings.extend(self.fault(sample));
        findings
    }

    fn silence(&mut self, state: State) -> Option<Finding> {
        match state {
            // The line tells of its port itself; a skipped poll says nothing about the unit.
            State::Absent(Why::PortLost | Why::Skipped | Why::NotRunning) => None,
            State::Absent(why) => {
                self.missed += 1;
                if self.silent || self.missed < SILENT_AFTER {
                    return None;
                }
                self.silent = true;
                Some((
                    Happening::AnswersLost,
                    format!("no good answer for {} polls: {}", self.missed, why.word()),
                ))
            }
            State::Good | State::Partial | State::Faulty => {
                let was_silent = std::mem::take(&mut self.silent);
                let missed = std::mem::take(&mut self.missed);
                was_silent.then(|| {
                    (
                        Happening::AnswersBack,
                        format!("answers again after {missed} polls without"),
                    )
                })
            }
        }
    }

    fn fault(&mut self, sample: &Sample) -> Option<Finding> {
        let faulty = match sample.state {
            State::Faulty => true,
            State::Good | State::Partial => false,
            State::Absent(_) => return None,
        };
        if faulty == self.faulty {
            return None;
        }
        self.faulty = faulty;
        Some(if faulty {
            (Happening::FaultBegan, describe_fault(sample))
        } else {
            (
                Happening::FaultEnded,
                "the process value is a value again".to_owned(),
            )
        })
    }
}

/// The first fault's meaning and raw words.
fn describe_fault(sample: &Sample) -> String {
    let fault = sample.readings.iter().find_map(|reading| match reading {
        Reading::Fault(fault) => Some(fault),
        Reading::Good(_) | Reading::Absent(_) => None,
    });
    fault.map_or_else(String::new, |fault| {
        let words: Vec<String> = fault
            .raw
            .iter()
            .map(|word| format!("0x{word:04X}"))
            .collect();
        format!("{} (raw {})", fault.meaning, words.join(" "))
    })
}
