//! The story of an autotune: began, ended, and whether it tuned.
//!
//! A controller has *tuned* only if its three numbers changed and it controls again.

use std::collections::BTreeMap;
use std::sync::Arc;

use super::Finding;
use super::known::Known;
use crate::map::{Map, Meaning, Point, Role};
use crate::name::Name;
use crate::sample::{Happening, Reading, Sample, Settings, SettingsCause, State};

/// The three numbers, by point name.
type Tuning = BTreeMap<Name, Known>;

/// An autotune that is over after so many lost polls may have been cut off (common practice, no source).
const LONG_SILENT: u32 = 3;

/// Follows the autotune of one loop.
#[derive(Debug)]
pub(super) struct AutotuneWatch {
    map: Arc<Map>,
    phase: Phase,
    /// As last seen.
    tuning: Tuning,
    mode: Option<Meaning>,
}

#[derive(Debug)]
enum Phase {
    Idle,
    Active {
        tuning_before: Tuning,
        /// Polls that brought nothing since the controller was heard last.
        silent: u32,
    },
    /// Over; the settings have been asked for.
    Judging {
        tuning_before: Tuning,
        /// Whether it ended while nothing was heard of the controller.
        was_silent: bool,
    },
}

/// A reading and its unit.
type Read<'a> = (&'a Reading, &'a Option<Arc<str>>);

/// What a sample changed in the story.
#[derive(Debug, Default)]
pub(super) struct Step {
    pub(super) finding: Option<Finding>,
    pub(super) ask: Option<SettingsCause>,
}

impl AutotuneWatch {
    pub(super) fn new(map: Arc<Map>) -> Self {
        Self {
            map,
            phase: Phase::Idle,
            tuning: BTreeMap::new(),
            mode: None,
        }
    }

    pub(super) fn on_sample(&mut self, sample: &Sample) -> Option<Step> {
        if let (State::Absent(_), Phase::Active { silent, .. }) = (sample.state, &mut self.phase) {
            *silent += 1;
            return None;
        }
        let map = self.map.clone();
        let readings = sample.readings.iter().zip(sample.units.iter());
        self.remember(map.trend_points().zip(readings));
        let (point, reading) = map
            .trend_points()
            .zip(sample.readings.iter())
            .find(|(point, _)| point.role == Role::AutotuneActive)?;
        // An unread status is no change of it.
        let active = map.is_active(point, reading)?;
        match (&mut self.phase, active) {
            (Phase::Idle | Phase::Judging { .. }, true) => {
                self.phase = Phase::Active {
                    tuning_before: self.tuning.clone(),
                    silent: 0,
                };
                let finding = Some((
                    Happening::AutotuneBegan,
                    "the controller began to tune itself".to_owned(),
                ));
                Some(Step { finding, ask: None })
            }
            (
                Phase::Active {
                    tuning_before,
                    silent,
                },
                false,
            ) => {
                let tuning_before = std::mem::take(tuning_before);
                let was_silent = *silent >= LONG_SILENT;
                if map.settings_points().next().is_none() {
                    let finding = Some(self.verdict(&tuning_before, was_silent));
                    self.phase = Phase::Idle;
                    return Some(Step { finding, ask: None });
                }
                self.phase = Phase::Judging {
                    tuning_before,
                    was_silent,
                };
                Some(Step {
                    finding: None,
                    ask: Some(SettingsCause::AutotuneEnded),
                })
            }
            (Phase::Active { silent, .. }, true) => {
                *silent = 0;
                None
            }
            (Phase::Idle | Phase::Judging { .. }, false) => None,
        }
    }

    /// The verdict, once the settings after the tune are there.
    pub(super) fn on_settings(&mut self, settings: &Settings) -> Option<Finding> {
        let map = self.map.clone();
        let readings = settings.readings.iter().zip(settings.units.iter());
        self.remember(map.settings_points().zip(readings));
        match &mut self.phase {
            // The watching began in the middle of a tune: what is read first counts as before.
            Phase::Active { tuning_before, .. } if tuning_before.is_empty() => {
                tuning_before.clone_from(&self.tuning);
                None
            }
            Phase::Judging {
                tuning_before,
                was_silent,
            } if settings.cause == SettingsCause::AutotuneEnded => {
                let (tuning_before, was_silent) = (std::mem::take(tuning_before), *was_silent);
                self.phase = Phase::Idle;
                Some(self.verdict(&tuning_before, was_silent))
            }
            Phase::Idle | Phase::Active { .. } | Phase::Judging { .. } => None,
        }
    }

    fn remember<'a>(&mut self, readings: impl Iterator<Item = (&'a Point, Read<'a>)>) {
        for (point, (reading, unit)) in readings {
            let Some(known) = Known::of(reading, unit.as_ref()) else {
                continue;
            };
            match point.role {
                role if role.is_tuning() => {
                    self.tuning.insert(point.name.clone(), known);
                }
                Role::Mode => self.mode = self.map.meaning(point, reading),
                _ => {}
            }
        }
    }

    fn verdict(&self, before: &Tuning, was_silent: bool) -> Finding {
        if self.tuning.is_empty() || before.is_empty() {
            let text = "the autotune ended; whether it tuned is not known: the tuning points were not read before it";
            return (Happening::AutotuneUnknown, text.to_owned());
        }
        let changes = self.changes(before);
        if changes.is_empty() {
            let text = "the autotune ended and the tuning is as before: it was stopped or gave up";
            return (Happening::AutotuneUnchanged, text.to_owned());
        }
        let changes = changes.join(", ");
        if was_silent {
            // One that lost its power may come back with an older tuning, or with the maker's.
            let text = format!(
                "the autotune ended while nothing was heard of the controller; tuned or not, it now has: {changes}"
            );
            return (Happening::AutotuneUnknown, text);
        }
        if matches!(self.mode, Some(Meaning::Manual | Meaning::Stopped)) {
            let text =
                format!("the tuning changed, but the controller does not control now: {changes}");
            return (Happening::AutotuneUnknown, text);
        }
        (Happening::AutotuneTuned, format!("tuned: {changes}"))
    }

    fn changes(&self, before: &Tuning) -> Vec<String> {
        let change = |point: &Point| {
            let (old, new) = (before.get(&point.name)?, self.tuning.get(&point.name)?);
            old.has_moved(point, new).then(|| old.story(point, new))
        };
        self.map.points.iter().filter_map(change).collect()
    }
}
