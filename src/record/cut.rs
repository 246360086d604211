//! A part of a record.

use super::source::{LoopRecord, RecordedSetting};

impl LoopRecord {
    /// The samples, events and settings from `from_s` up to `to_s`, both included, with their own
    /// times; settings from before, as far as they are still in force then, stand at `from_s`. The
    /// counts of rows still tell of the whole record.
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
        self.settings = settings_of(self.settings, from_s, to_s);
        self
    }
}

/// The settings of a part: what was in force at its beginning, and what came in it.
fn settings_of(all: Vec<RecordedSetting>, from_s: f64, to_s: f64) -> Vec<RecordedSetting> {
    let mut kept: Vec<RecordedSetting> = Vec::new();
    for mut setting in all.into_iter().filter(|setting| setting.time_s <= to_s) {
        if setting.time_s < from_s {
            kept.retain(|older| older.point != setting.point);
            setting.time_s = from_s;
        }
        kept.push(setting);
    }
    kept
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
    fn what_was_in_force_before_the_cut_stands_at_its_beginning() {
        let mut record = record();
        record.settings = vec![
            setting(0.0, "start", "10"),
            setting(1.0, "changed", "20"),
            setting(2.5, "changed", "30"),
            setting(3.0, "end", "30"),
        ];
        let kept = record.cut(2.0, 2.9).settings;
        let kept: Vec<(f64, &str)> = kept.iter().map(|it| (it.time_s, &*it.value)).collect();
        assert_eq!(kept, [(2.0, "20"), (2.5, "30")]);
    }
}
