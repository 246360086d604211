//! A recording, one loop of it, or any CSV, as columns in memory.

use chrono::{DateTime, Utc};

use super::wall::WallClock;
use crate::sample::Happening;
use crate::setup::Job;
use crate::trace::Trace;

/// A source, read into memory.
#[derive(Clone, Debug, PartialEq)]
pub struct Source {
    /// What it is called: the recording's folder or the file's name, without the way to it.
    pub name: String,
    /// What a recording says about itself; `None` for a plain CSV.
    pub facts: Option<RecordingFacts>,
    /// Its loops, in the setup's order.
    pub loops: Vec<LoopRecord>,
}

/// What `recording.toml` says.
#[derive(Clone, Debug, PartialEq)]
pub struct RecordingFacts {
    /// Wall time of `elapsed_s` 0.
    pub began: DateTime<Utc>,
    /// Wall time of the orderly end; `None` while it runs or after a crash.
    pub ended: Option<DateTime<Utc>>,
    /// The version of the program that wrote it.
    pub program: String,
    /// The job text of its setup.
    pub job: Job,
}

/// One loop's record: the rows with a process value as parallel columns.
#[derive(Clone, Debug, PartialEq)]
pub struct LoopRecord {
    /// The loop's name, or the file's.
    pub name: String,
    /// The controller's title, from its map.
    pub controller: Option<String>,
    /// Unit of the process value.
    pub unit: Option<String>,
    /// The band of the setup, in that unit.
    pub band: Option<f64>,
    /// Wall time beside `time_s`, where it is known.
    pub wall: Option<WallClock>,
    /// Seconds of the record's first row, whether it has a process value or not; what is said to be
    /// so long after the start counts from there. `None` where there is no row.
    pub first_s: Option<f64>,
    /// Seconds since the record began, never decreasing.
    pub time_s: Vec<f64>,
    /// Process value.
    pub pv: Vec<f64>,
    /// Setpoint; NaN where a row lacks it.
    pub setpoint: Option<Vec<f64>>,
    /// Output in percent; NaN where a row lacks it.
    pub output: Option<Vec<f64>>,
    /// Whether an autotune was under way.
    pub autotune: Option<Vec<bool>>,
    /// Rows in all, those without a process value included.
    pub rows: usize,
    /// Rows by state, for states other than `good`, in the order first met.
    pub bad_rows: Vec<(String, usize)>,
    /// Marks and everything else that happened.
    pub events: Vec<RecordedEvent>,
    /// The slow points, whenever they were written down.
    pub settings: Vec<RecordedSetting>,
}

/// One line of `events.csv`.
#[derive(Clone, Debug, PartialEq)]
pub struct RecordedEvent {
    /// Seconds since the record began.
    pub time_s: f64,
    /// What happened; `None` for a kind this version does not know.
    pub what: Option<Happening>,
    /// In words.
    pub text: String,
}

/// One line of `settings.csv`.
#[derive(Clone, Debug, PartialEq)]
pub struct RecordedSetting {
    /// Seconds since the record began.
    pub time_s: f64,
    /// `start`, `changed`, `autotune-ended` or `end`.
    pub cause: String,
    /// The point's name.
    pub point: String,
    /// The point's role, as the map file writes it.
    pub role: String,
    /// The value as it was written; empty when it could not be read.
    pub value: String,
    /// Its unit; empty for none.
    pub unit: String,
    /// What the value means in words, where the map says so.
    pub meaning: Option<String>,
}

impl LoopRecord {
    /// Wall time of a moment, where it is known.
    pub fn wall_time(&self, time_s: f64) -> Option<DateTime<Utc>> {
        self.wall.as_ref()?.at(time_s)
    }

    /// The columns as the analysis takes them.
    pub fn trace(&self) -> Trace<'_> {
        Trace {
            time_s: &self.time_s,
            pv: &self.pv,
            setpoint: self.setpoint.as_deref(),
            output: self.output.as_deref(),
            autotune: self.autotune.as_deref(),
        }
    }
}
