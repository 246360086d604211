//! What a report is made from: two steps of the same loop, and what must be reached.

use crate::analysis::Episode;
use crate::record::{LoopRecord, RecordedSetting, RecordingFacts, Source};

use super::criteria::Criteria;

/// A step before a change and a step after it, both measured over the same window.
#[derive(Clone, Copy, Debug)]
pub struct Comparison<'a> {
    /// The step before.
    pub before: Side<'a>,
    /// The step after.
    pub after: Side<'a>,
    /// What the step after must reach, where somebody has said so.
    pub criteria: Option<&'a Criteria>,
}

/// One of the two steps, and where it comes from.
#[derive(Clone, Copy, Debug)]
pub struct Side<'a> {
    /// What the recording or the file is called, without the way to it.
    pub source: &'a str,
    /// What the recording says about itself; `None` for a plain CSV.
    pub facts: Option<&'a RecordingFacts>,
    /// The loop's record.
    pub record: &'a LoopRecord,
    /// The step and its numbers.
    pub episode: &'a Episode,
}

impl<'a> Comparison<'a> {
    /// Before and after, in this order.
    pub(super) fn sides(&self) -> [Side<'a>; 2] {
        [self.before, self.after]
    }

    /// Whether both steps are in one record of one recording.
    pub(super) fn is_one_record(&self) -> bool {
        self.before.source == self.after.source
            && self.before.record.name == self.after.record.name
            && self.before.record.wall == self.after.record.wall
    }

    /// Which oven: what the job calls it, else the loop's name.
    pub(super) fn equipment(&self) -> &'a str {
        [self.after, self.before]
            .iter()
            .filter_map(|side| side.facts)
            .map(|facts| facts.job.equipment.as_str())
            .find(|name| !name.trim().is_empty())
            .unwrap_or(&self.after.record.name)
    }

    /// The unit of the process value as files write it; empty when unknown.
    pub(super) fn unit(&self) -> &'a str {
        self.after.record.unit.as_deref().unwrap_or_default()
    }
}

impl<'a> Side<'a> {
    /// A step of a source's record.
    pub fn new(source: &'a Source, record: &'a LoopRecord, episode: &'a Episode) -> Self {
        Self {
            source: &source.name,
            facts: source.facts.as_ref(),
            record,
            episode,
        }
    }

    /// The settings that were in force when the step began: for each point the last line written
    /// until then, or the first ever written. In the order of the recording.
    pub(super) fn settings(&self) -> Vec<&'a RecordedSetting> {
        let mut in_force: Vec<&RecordedSetting> = Vec::new();
        for line in &self.record.settings {
            match in_force.iter_mut().find(|known| known.point == line.point) {
                Some(known) if line.time_s <= self.episode.start_s => *known = line,
                Some(_) => {}
                None => in_force.push(line),
            }
        }
        in_force
    }

    /// The value in force of the first point with this role.
    pub(super) fn setting(&self, role: &str) -> Option<&'a RecordedSetting> {
        self.settings().into_iter().find(|line| line.role == role)
    }

    /// Whether there were samples to work numbers out from.
    pub(super) fn has_numbers(&self) -> bool {
        self.episode.numbers.initial.is_some()
    }

    /// When the step began, in words: wall time where it is known.
    pub(super) fn step_began(&self) -> String {
        self.moment(self.episode.start_s)
    }

    /// A time of the record in words: wall time where it is known, else time since it began.
    pub(super) fn moment(&self, time_s: f64) -> String {
        self.record.wall_time(time_s).map_or_else(
            || format!("{} after the record began", super::format::span(time_s)),
            super::format::moment,
        )
    }
}
