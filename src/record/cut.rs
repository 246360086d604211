//! A part of a record.

use super::source::{LoopRecord, RecordedSetting};

impl LoopRecord {
    /// The samples, events and settings from `from_s` up to `to_s`, both included, with their own
    /// times. The counts of rows still tell of the whole record.
    #[must_use]
    pub fn cut(mut self, from_s: f64, to_s: f64) -> Self {
        let first = self.time_s.partition_point(|t| *t < from_s);
        let end = self.time_s.partition_point(|t| *t <= to_s).max(first);
        keep(&mut self.time_s, first, end);
        keep(&mut self.pv, first, end);
        for column in [&mut self.setpoint, &mut self.output].into_iter().flatten() {
            keep(column, first, end);
        }
        if let Some(autotune) = &mut self.autotune {
            keep(autotune, first, end);
        }
        let inside = |time_s: f64| (from_s..=to_s).contains(&time_s);
        self.events.retain(|event| inside(event.time_s));
        self.settings.retain(|setting| inside(setting.time_s));
        self
    }

    /// The output's cycle time, where the settings tell it in seconds.
    pub fn cycle_time_s(&self) -> Option<f64> {
        let is_told = |it: &&RecordedSetting| it.role == "cycle-time" && it.unit == "s";
        let told = self.settings.iter().rfind(is_told)?;
        told.value.parse().ok().filter(|seconds| *seconds > 0.0)
    }

    /// When mode or tuning were changed by hand: times at which a slow point that decides how the
    /// loop behaves has another value than before.
    pub fn control_changes_s(&self) -> Vec<f64> {
        const DECIDING: [&str; 6] = [
            "proportional",
            "integral",
            "derivative",
            "mode",
            "control-mode",
            "control-action",
        ];
        let mut last = std::collections::HashMap::new();
        let mut found = Vec::new();
        for setting in &self.settings {
            if !DECIDING.contains(&setting.role.as_str()) || setting.value.is_empty() {
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
}

fn keep<T>(column: &mut Vec<T>, first: usize, end: usize) {
    column.truncate(end);
    column.drain(..first.min(end));
}

#[cfg(test)]
mod tests {
    use super::*;

    fn record() -> LoopRecord {
        LoopRecord {
            name: "top".to_owned(),
            controller: None,
            unit: None,
            band: None,
            wall: None,
            first_s: Some(0.0),
            time_s: vec![0.0, 1.0, 2.0, 3.0],
            pv: vec![20.0, 21.0, 22.0, 23.0],
            setpoint: None,
            output: Some(vec![0.0, 10.0, 20.0, 30.0]),
            autotune: None,
            rows: 4,
            bad_rows: Vec::new(),
            events: Vec::new(),
            settings: Vec::new(),
        }
    }

    fn setting(time_s: f64, cause: &str, value: &str) -> RecordedSetting {
        RecordedSetting {
            time_s,
            cause: cause.to_owned(),
            point: "band".to_owned(),
            role: "proportional".to_owned(),
            value: value.to_owned(),
            unit: String::new(),
            meaning: None,
        }
    }

    #[test]
    fn every_column_is_cut_alike() {
        let cut = record().cut(1.0, 2.5);
        assert_eq!(cut.time_s, [1.0, 2.0]);
        assert_eq!(cut.pv, [21.0, 22.0]);
        assert_eq!(cut.output, Some(vec![10.0, 20.0]));
        assert_eq!(record().cut(9.0, 3.0).pv, [0.0; 0]);
    }

    #[test]
    fn only_another_value_set_by_hand_is_a_change() {
        let mut record = record();
        record.settings = vec![
            setting(0.0, "start", "10"),
            setting(1.0, "changed", "10"),
            setting(2.0, "autotune-ended", "30"),
            setting(3.0, "changed", "20"),
            setting(4.0, "end", "20"),
        ];
        assert_eq!(record.control_changes_s(), [3.0]);
    }
}
