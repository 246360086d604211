//! The samples an analysis works on.

/// One loop's good samples as parallel slices; borrowed, so that plain arrays will do.
#[derive(Clone, Copy, Debug)]
pub struct Trace<'a> {
    /// Seconds, never decreasing; any origin.
    pub time_s: &'a [f64],
    /// Process value in the loop's unit, finite.
    pub pv: &'a [f64],
    /// Setpoint in the same unit; NaN where it is missing.
    pub setpoint: Option<&'a [f64]>,
    /// Output in percent; NaN where it is missing.
    pub output: Option<&'a [f64]>,
    /// Whether an autotune was under way.
    pub autotune: Option<&'a [bool]>,
}

/// What is known of a loop beside its samples; all times in the trace's seconds, in order. Where
/// there is nothing but samples it is empty.
#[derive(Clone, Debug, Default, PartialEq)]
pub struct Told {
    /// The mode that holds from each of these times on; none where no mode is known.
    pub modes: Vec<(f64, Mode)>,
    /// When mode or tuning were changed by hand: each ends the window of what was before.
    pub changes_s: Vec<f64>,
    /// How autotunes ended, as far as somebody watched them.
    pub tune_ends: Vec<TuneEnd>,
    /// What people noted on the time axis.
    pub marks: Vec<Mark>,
}

/// Who moves the output.
#[derive(Clone, Copy, Debug, PartialEq, Eq)]
pub enum Mode {
    /// The controller.
    Automatic,
    /// A person.
    Manual,
    /// Nobody: it is off.
    Stopped,
    /// Not told, or none of these.
    Unknown,
}

/// How an autotune ended.
#[derive(Clone, Copy, Debug, PartialEq, Eq, serde::Serialize)]
#[serde(rename_all = "kebab-case")]
pub enum TuneOutcome {
    /// The tuning changed and the controller controls again.
    Tuned,
    /// The tuning is as before: it was stopped or gave up.
    Unchanged,
    /// Not known.
    Unknown,
}

/// The end of an autotune that somebody watched.
#[derive(Clone, Debug, PartialEq)]
pub struct TuneEnd {
    /// When it was told: at the end of the tune, or as long after it as reading the tuning took.
    pub at_s: f64,
    /// What came of it.
    pub outcome: TuneOutcome,
    /// The same in words.
    pub text: String,
}

/// A person's note.
#[derive(Clone, Debug, PartialEq)]
pub struct Mark {
    /// When.
    pub at_s: f64,
    /// What.
    pub text: String,
}

impl Told {
    /// The mode at a time, as far as it is known.
    pub fn mode_at(&self, at_s: f64) -> Mode {
        let count = self.modes.partition_point(|(from_s, _)| *from_s <= at_s);
        let last = count.checked_sub(1).and_then(|last| self.modes.get(last));
        last.map_or(Mode::Unknown, |(_, mode)| *mode)
    }

    /// Whether the controller does not control then: manual or stopped.
    pub fn is_by_hand(&self, at_s: f64) -> bool {
        matches!(self.mode_at(at_s), Mode::Manual | Mode::Stopped)
    }
}
