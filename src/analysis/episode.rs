//! A stretch of a record with one cause, and its numbers.

use super::own::OwnNumbers;

/// A stretch of a record with one cause.
#[derive(Clone, Debug, PartialEq)]
pub struct Episode {
    /// Its cause.
    pub kind: EpisodeKind,
    /// Where it begins, in the trace's seconds.
    pub start_s: f64,
    /// Where it ends, in the trace's seconds.
    pub end_s: f64,
    /// Setpoint (or process value) before.
    pub from: Option<f64>,
    /// Setpoint after.
    pub to: Option<f64>,
    /// The numbers it has in common with other kinds; `None` where they do not apply.
    pub numbers: StepNumbers,
    /// The numbers that only its kind has.
    pub own: OwnNumbers,
    /// What must be known to trust the numbers.
    pub notes: Vec<Note>,
}

/// Setpoints closer than this are one: they carry a decimal at most.
const SAME_SETPOINT: f64 = 0.05;

impl Episode {
    /// Whether it is of the same kind as another, from and to the same setpoint.
    pub fn is_like(&self, other: &Self) -> bool {
        let same = |one: Option<f64>, other: Option<f64>| {
            let both = one.zip(other);
            both.is_some_and(|(one, other)| (one - other).abs() < SAME_SETPOINT)
        };
        self.kind == other.kind && same(self.from, other.from) && same(self.to, other.to)
    }
}

/// The causes of an episode.
#[derive(Clone, Copy, Debug, PartialEq, Eq, Hash, serde::Serialize)]
#[serde(rename_all = "kebab-case")]
pub enum EpisodeKind {
    /// The setpoint moved at once and stayed.
    SetpointStep,
    /// The output moved at once, in manual.
    OutputStep,
    /// The setpoint moved steadily.
    Ramp,
    /// The hold after a ramp.
    Soak,
    /// The controller tuned itself.
    Autotune,
    /// The process value left the band and returned by itself.
    Disturbance,
    /// A settled stretch.
    Hold,
}

impl EpisodeKind {
    /// The numbers that apply to it, by their JSON names. Each of them is there, or a note is about
    /// it; all others are `null`.
    pub fn numbers(self) -> &'static [&'static str] {
        match self {
            Self::SetpointStep => &STEP,
            Self::OutputStep => &OUTPUT_STEP,
            Self::Ramp => &RAMP,
            Self::Soak => &SOAK,
            Self::Autotune => &AUTOTUNE,
            Self::Disturbance => &DISTURBANCE,
            Self::Hold => &HOLD,
        }
    }
}

const STEP: [&str; 20] = [
    "initial",
    "overshoot",
    "overshoot_pct",
    "overshoot_smoothed",
    "peak_s",
    "rise_s",
    "settling_s",
    "settling_band",
    "settling_2pct_s",
    "final_error",
    "iae",
    "ise",
    "itae",
    "itse",
    "window_s",
    "noise_sd",
    "period_s",
    "amplitude",
    "decay_ratio",
    "missing_s",
];
const OUTPUT_STEP: [&str; 22] = [
    "output_from",
    "output_to",
    "initial",
    "overshoot",
    "overshoot_pct",
    "overshoot_smoothed",
    "peak_s",
    "rise_s",
    "settling_s",
    "settling_band",
    "settling_2pct_s",
    "final_error",
    "iae",
    "ise",
    "itae",
    "itse",
    "window_s",
    "noise_sd",
    "period_s",
    "amplitude",
    "decay_ratio",
    "missing_s",
];
const RAMP: [&str; 12] = [
    "rate_per_min",
    "following_mean",
    "following_max",
    "overshoot",
    "overshoot_pct",
    "peak_s",
    "settling_s",
    "settling_band",
    "settling_2pct_s",
    "window_s",
    "noise_sd",
    "missing_s",
];
const AUTOTUNE: [&str; 11] = [
    "outcome",
    "cycles",
    "amplitude",
    "amplitude_spread",
    "period_s",
    "period_spread_s",
    "ultimate_gain",
    "ultimate_period_s",
    "window_s",
    "noise_sd",
    "missing_s",
];
const DISTURBANCE: [&str; 7] = [
    "depth",
    "return_s",
    "overshoot",
    "iae",
    "window_s",
    "noise_sd",
    "missing_s",
];
const HOLD: [&str; 8] = [
    "final_error",
    "sd",
    "peak_to_peak",
    "amplitude",
    "period_s",
    "window_s",
    "noise_sd",
    "missing_s",
];
const SOAK: [&str; 9] = [
    "in_band_s",
    "final_error",
    "sd",
    "peak_to_peak",
    "amplitude",
    "period_s",
    "window_s",
    "noise_sd",
    "missing_s",
];

/// The numbers of a step, and what other kinds have in common with it: see
/// [`EpisodeKind::numbers`]. Times count from the episode's start, in seconds; temperatures in the
/// loop's unit. `None`: does not apply to the kind, or cannot be had, and then a note says why.
#[derive(Clone, Debug, Default, PartialEq, serde::Serialize)]
pub struct StepNumbers {
    /// Process value when the step began: mean over the last minute up to it, at least three
    /// samples and not from before the episode that came before; else the one at the step.
    pub initial: Option<f64>,
    /// Largest excursion past the target after the first arrival; not below 0. Of the approach only:
    /// up to settled plus the dwell, and on to the end of a first excursion inside the band that is
    /// then under way, or that begins before as much time again has gone by, where it stands out
    /// (by six times the noise and four times what the loop does later on).
    pub overshoot: Option<f64>,
    /// The same in percent of the step.
    pub overshoot_pct: Option<f64>,
    /// The overshoot of the smoothed process value, where noise matters.
    pub overshoot_smoothed: Option<f64>,
    /// When the largest excursion was; of a ramp, too, from its start.
    pub peak_s: Option<f64>,
    /// From the first crossing of 10 % to the first crossing of 90 % of the step.
    pub rise_s: Option<f64>,
    /// When the line last came into the band before it stayed for the dwell: the largest of 10
    /// samples, 5 % of the time since the step, and one period of the oscillation the step set off
    /// (between its first two peaks, else twice from the first peak to the trough after it). To go
    /// in at one side and out at the other without turning round is not to stay. Of a ramp it
    /// counts from the ramp's end.
    pub settling_s: Option<f64>,
    /// Half-width of the band `settling_s` used.
    pub settling_band: Option<f64>,
    /// The same for 2 % of the step.
    pub settling_2pct_s: Option<f64>,
    /// Mean of process value minus target over the last tenth.
    pub final_error: Option<f64>,
    /// Integral of |e|, degree.s.
    pub iae: Option<f64>,
    /// Integral of e^2, degree^2.s.
    pub ise: Option<f64>,
    /// Integral of t |e|, degree.s^2.
    pub itae: Option<f64>,
    /// Integral of t e^2, degree^2.s^2.
    pub itse: Option<f64>,
    /// How far the integrals reach.
    pub window_s: Option<f64>,
    /// Standard deviation of the process value's noise.
    pub noise_sd: Option<f64>,
    /// Between the first two overshoot peaks. Of an autotune and of a hold that swings: mean of the
    /// whole cycles after the first.
    pub period_s: Option<f64>,
    /// Half peak to peak of a lasting oscillation, mean of the whole cycles after the first.
    pub amplitude: Option<f64>,
    /// Second overshoot peak over the first.
    pub decay_ratio: Option<f64>,
    /// Time without good samples.
    pub missing_s: Option<f64>,
}

/// How far the integrals of a step reach.
#[derive(Clone, Copy, Debug, PartialEq, Default)]
pub enum Window {
    /// To the episode's end.
    #[default]
    Whole,
    /// At most so many seconds, for comparing two records.
    AtMost(f64),
}

/// Something that must be known to trust a number.
#[derive(Clone, Debug, PartialEq, Eq, serde::Serialize)]
pub struct Note {
    /// A word for programs.
    pub code: &'static str,
    /// The number it is about, by its JSON name; empty for the whole episode.
    pub about: &'static str,
    /// A sentence for people, with what to do.
    pub text: String,
}

/// The code of a note on a number whose thing simply is not there.
pub(crate) const NONE: &str = "none";

impl Note {
    pub(crate) fn new(code: &'static str, about: &'static str, text: impl Into<String>) -> Self {
        let text = text.into();
        Self { code, about, text }
    }

    /// Whether it only says that there is no such thing (no overshoot, so no peak): nothing that
    /// a person needs to be told.
    pub fn is_of_nothing(&self) -> bool {
        self.code == NONE
    }
}
