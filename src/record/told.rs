//! What a recording tells of a loop beside its samples: modes, changes by hand, ends of autotunes,
//! marks.

use std::collections::HashMap;

use super::deciding::decides;
use super::open_source::OpenLoop;
use super::read_error::ReadError;
use super::source::{LoopRecord, RecordedEvent, RecordedSetting};
use crate::map::Role;
use crate::sample::Happening;
use crate::trace::{Mark, Mode, Told, TuneEnd, TuneOutcome};

/// Roles of the three numbers of a tuning.
const TUNING: [Role; 3] = [Role::Proportional, Role::Integral, Role::Derivative];

impl LoopRecord {
    /// What the recording tells beside its samples; nothing for a plain CSV.
    pub fn told(&self) -> Told {
        Told {
            modes: modes(&self.settings),
            changes_s: changes_by_hand(&self.settings),
            tune_ends: tune_ends(self),
            marks: self.events.iter().filter_map(mark).collect(),
        }
    }

    /// The output's cycle time, where the settings tell it in seconds.
    pub fn cycle_time_s(&self) -> Option<f64> {
        cycle_time_s(&self.settings)
    }
}

impl OpenLoop {
    /// When mode or tuning were changed by hand.
    ///
    /// # Errors
    /// A file that cannot be read, where a map polls mode or tuning with every row.
    pub fn changes_s(&self) -> Result<Vec<f64>, ReadError> {
        Ok(changes_by_hand(&self.all_settings()?))
    }

    /// The output's cycle time, where the settings tell it in seconds.
    pub fn cycle_time_s(&self) -> Option<f64> {
        cycle_time_s(&self.settings)
    }
}

fn cycle_time_s(settings: &[RecordedSetting]) -> Option<f64> {
    let is_told = |it: &&RecordedSetting| it.role == "cycle-time" && it.unit == "s";
    let told = settings.iter().rfind(is_told)?;
    told.value.parse().ok().filter(|seconds| *seconds > 0.0)
}

fn modes(settings: &[RecordedSetting]) -> Vec<(f64, Mode)> {
    let known = settings.iter().filter(|setting| setting.role == "mode");
    let mode = |setting: &RecordedSetting| match setting.meaning.as_deref() {
        Some("automatic") => Mode::Automatic,
        Some("manual") => Mode::Manual,
        Some("stopped") => Mode::Stopped,
        _ => Mode::Unknown,
    };
    let mut found: Vec<(f64, Mode)> = known.map(|it| (it.time_s, mode(it))).collect();
    found.dedup_by_key(|(_, mode)| *mode);
    found
}

/// Times at which a slow point that decides how the loop behaves has another value than before.
fn changes_by_hand(settings: &[RecordedSetting]) -> Vec<f64> {
    let mut last = HashMap::new();
    let mut found = Vec::new();
    for setting in settings {
        if !role(setting).is_some_and(decides) || setting.value.is_empty() {
            continue;
        }
        let before = last.insert(&setting.point, &setting.value);
        // What an autotune changed is told by the autotune's own end.
        let by_hand = setting.cause == "changed";
        if by_hand && before.is_some_and(|before| *before != setting.value) {
            found.push(setting.time_s);
        }
    }
    found.dedup();
    found
}

fn role(setting: &RecordedSetting) -> Option<Role> {
    Role::from_word(&setting.role)
}

/// How autotunes ended: what was told then, or else what the settings show that were read then.
fn tune_ends(record: &LoopRecord) -> Vec<TuneEnd> {
    let told: Vec<TuneEnd> = record.events.iter().filter_map(tune_end).collect();
    if told.is_empty() {
        return by_settings(&record.settings);
    }
    told
}

/// An autotune has tuned where one of the three numbers is another after it.
fn by_settings(settings: &[RecordedSetting]) -> Vec<TuneEnd> {
    let is_tuning = |it: &&RecordedSetting| role(it).is_some_and(|it| TUNING.contains(&it));
    let known = settings.iter().filter(is_tuning);
    let mut last: HashMap<&str, &str> = HashMap::new();
    let mut found: Vec<TuneEnd> = Vec::new();
    for setting in known.filter(|it| !it.value.is_empty()) {
        let before = last.insert(&setting.point, &setting.value);
        let (Some(before), "autotune-ended") = (before, setting.cause.as_str()) else {
            continue;
        };
        if found.last().is_none_or(|end| end.at_s < setting.time_s) {
            found.push(TuneEnd {
                at_s: setting.time_s,
                outcome: TuneOutcome::Unchanged,
                text: "the tuning is as before".to_owned(),
            });
        }
        if let (Some(end), true) = (found.last_mut(), before != setting.value) {
            end.outcome = TuneOutcome::Tuned;
            "the tuning is another than before".clone_into(&mut end.text);
        }
    }
    found
}

fn tune_end(event: &RecordedEvent) -> Option<TuneEnd> {
    let outcome = match event.what? {
        Happening::AutotuneTuned => TuneOutcome::Tuned,
        Happening::AutotuneUnchanged => TuneOutcome::Unchanged,
        Happening::AutotuneUnknown => TuneOutcome::Unknown,
        _ => return None,
    };
    Some(TuneEnd {
        at_s: event.time_s,
        outcome,
        text: event.text.clone(),
    })
}

fn mark(event: &RecordedEvent) -> Option<Mark> {
    (event.what? == Happening::Mark).then(|| Mark {
        at_s: event.time_s,
        text: event.text.clone(),
    })
}

#[cfg(test)]
mod tests {
    use super::*;

    fn setting(time_s: f64, cause: &str, role: &str, value: &str) -> RecordedSetting {
        let meaning = match (role, value) {
            ("mode", "0") => Some("automatic"),
            ("mode", "1") => Some("manual"),
            _ => None,
        };
        RecordedSetting {
            time_s,
            cause: cause.to_owned(),
            point: role.to_owned(),
            role: role.to_owned(),
            value: value.to_owned(),
            unit: String::new(),
            meaning: meaning.map(str::to_owned),
        }
    }

    #[test]
    fn only_another_value_set_by_hand_is_a_change() {
        let settings = [
            setting(0.0, "start", "proportional", "10"),
            setting(1.0, "changed", "proportional", "10"),
            setting(2.0, "autotune-ended", "proportional", "30"),
            setting(3.0, "changed", "proportional", "20"),
            setting(4.0, "end", "proportional", "20"),
        ];
        assert_eq!(changes_by_hand(&settings), [3.0]);
    }

    #[test]
    fn modes_are_told_where_they_change() {
        let settings = [
            setting(0.0, "start", "mode", "0"),
            setting(0.0, "start", "integral", "1"),
            setting(60.0, "changed", "mode", "1"),
            setting(120.0, "changed", "mode", "1"),
            setting(180.0, "changed", "mode", "7"),
        ];
        let expected = [
            (0.0, Mode::Automatic),
            (60.0, Mode::Manual),
            (180.0, Mode::Unknown),
        ];
        assert_eq!(modes(&settings), expected);
    }

    #[test]
    fn settings_read_after_a_tune_tell_its_end() {
        let settings = [
            setting(0.0, "start", "proportional", "10"),
            setting(0.0, "start", "integral", "100"),
            setting(50.0, "autotune-ended", "proportional", "10"),
            setting(50.0, "autotune-ended", "integral", "100"),
            setting(90.0, "autotune-ended", "proportional", "12"),
            setting(90.0, "autotune-ended", "integral", "100"),
        ];
        let ends = by_settings(&settings);
        let ends: Vec<_> = ends.iter().map(|end| (end.at_s, end.outcome)).collect();
        let expected = [(50.0, TuneOutcome::Unchanged), (90.0, TuneOutcome::Tuned)];
        assert_eq!(ends, expected);
        // What was before must be known.
        assert_eq!(by_settings(&settings[2..4]), []);
    }

    #[test]
    fn marks_and_ends_of_tunes_are_told() {
        let event = |time_s, what, text: &str| RecordedEvent {
            time_s,
            what,
            text: text.to_owned(),
        };
        let end = tune_end(&event(5.0, Some(Happening::AutotuneUnchanged), "gave up"));
        let end = end.map(|end| (end.at_s, end.outcome, end.text));
        assert_eq!(end, Some((5.0, TuneOutcome::Unchanged, "gave up".into())));
        assert!(mark(&event(5.0, Some(Happening::Mark), "door")).is_some());
        assert_eq!(mark(&event(5.0, None, "later version")), None);
    }
}
