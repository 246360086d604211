//! What really happened in a simulated recording.

use serde::Serialize;

/// Something that `measure` must find.
#[derive(Clone, Debug, PartialEq, Serialize)]
pub(super) struct Happened {
    /// As `measure` calls it.
    pub(super) kind: &'static str,
    /// Where its episode begins, in the recording's seconds: the earliest and the latest.
    pub(super) start_s: (f64, f64),
    /// Where it ends, likewise, for those whose end is a fact and not a matter of definition.
    pub(super) end_s: Option<(f64, f64)>,
    /// Setpoint before and after, of a step or a ramp.
    pub(super) setpoints: Option<(f64, f64)>,
    /// Whether it must be found; else it may be, being near a threshold.
    pub(super) certain: bool,
}

/// A row as a recorder would have it.
#[derive(Clone, Debug)]
pub(super) struct Row {
    /// When the recorder looked.
    pub(super) looked_s: f64,
    /// When it says it did.
    pub(super) time_s: f64,
    /// `None` where the controller did not answer.
    pub(super) pv: Option<f64>,
    /// `None` where only this point is missing.
    pub(super) setpoint: Option<f64>,
    pub(super) output: f64,
    pub(super) tuning: bool,
}

/// A line of `events.csv` or `settings.csv`.
#[derive(Clone, Debug)]
pub(super) struct Told {
    pub(super) time_s: f64,
    /// An event's word, or the point of the settings.
    pub(super) what: &'static str,
    pub(super) text: String,
}

/// What the recording is stored as.
#[derive(Clone, Copy, Debug, PartialEq, Eq, Serialize)]
#[serde(rename_all = "kebab-case")]
pub(super) enum Form {
    /// Time, process value, setpoint and output, nothing else.
    Csv,
    /// A recording's folder: also autotune, mode, settings and marks.
    Recording,
}

/// A recording and what is true of it.
#[derive(Clone, Debug)]
pub(super) struct Simulated {
    pub(super) name: String,
    pub(super) form: Form,
    /// Degrees; none is a record to be measured without one.
    pub(super) band: Option<f64>,
    /// Proportional band, integral and derivative time at the beginning.
    pub(super) tuning: [f64; 3],
    pub(super) rows: Vec<Row>,
    pub(super) told: Vec<Told>,
    pub(super) truth: Vec<Happened>,
}
