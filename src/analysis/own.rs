//! The numbers that only one kind of episode has.

use serde::Serialize;

use crate::trace::TuneOutcome;

/// The numbers that only one kind of episode has; those of other kinds are `None`. As JSON they are
/// flat.
#[derive(Clone, Debug, Default, PartialEq, Serialize)]
pub struct OwnNumbers {
    /// Of a ramp.
    #[serde(flatten)]
    pub ramp: RampNumbers,
    /// Of an output step.
    #[serde(flatten)]
    pub output: OutputNumbers,
    /// Of an autotune.
    #[serde(flatten)]
    pub tune: TuneNumbers,
    /// Of a disturbance.
    #[serde(flatten)]
    pub disturbance: DisturbanceNumbers,
    /// Of a hold or a soak.
    #[serde(flatten)]
    pub hold: HoldNumbers,
}

/// How a ramp was followed.
#[derive(Clone, Copy, Debug, Default, PartialEq, Serialize)]
pub struct RampNumbers {
    /// Rate of the setpoint, degrees a minute: all it moved by, over the time from its first to its
    /// last change.
    pub rate_per_min: Option<f64>,
    /// Process value minus setpoint during the ramp, mean over time (trapezoidal rule), degrees.
    pub following_mean: Option<f64>,
    /// The process value minus setpoint that is farthest from 0 during the ramp, degrees.
    pub following_max: Option<f64>,
}

/// What an output step was.
#[derive(Clone, Copy, Debug, Default, PartialEq, Serialize)]
pub struct OutputNumbers {
    /// Output before, percent.
    pub output_from: Option<f64>,
    /// Output after, percent.
    pub output_to: Option<f64>,
}

/// How an autotune went.
#[derive(Clone, Copy, Debug, Default, PartialEq, Serialize)]
pub struct TuneNumbers {
    /// What came of it.
    pub outcome: Option<TuneOutcome>,
    /// Whole cycles after the first: those that the means are taken over.
    pub cycles: Option<usize>,
    /// Standard deviation (n - 1) of the amplitude over those cycles, degrees; of three or more.
    pub amplitude_spread: Option<f64>,
    /// Standard deviation (n - 1) of the period over those cycles, seconds; of three or more.
    pub period_spread_s: Option<f64>,
    /// Output over process value at the period of the cycle, percent a degree: the amplitudes of
    /// their first harmonics over those cycles, which holds for unequal half-cycles, reduced power
    /// and hysteresis. Source: Astrom and Hagglund 1984 (the relay experiment); the first harmonic
    /// in place of their describing function, which errs by -19 % to +27 %.
    pub ultimate_gain: Option<f64>,
    /// The period of the cycle, seconds.
    pub ultimate_period_s: Option<f64>,
}

/// What a disturbance did.
#[derive(Clone, Copy, Debug, Default, PartialEq, Serialize)]
pub struct DisturbanceNumbers {
    /// Process value minus setpoint where that was farthest, to the side it first went to; degrees.
    pub depth: Option<f64>,
    /// From where the line left the band to where it came back to stay (at least 10 samples and 5 %
    /// of the time since it left), seconds; both interpolated at the band's edge.
    pub return_s: Option<f64>,
}

/// How steady a hold was.
#[derive(Clone, Copy, Debug, Default, PartialEq, Serialize)]
pub struct HoldNumbers {
    /// Standard deviation (n - 1) of the process value's samples, degrees.
    pub sd: Option<f64>,
    /// Largest minus smallest process value, degrees.
    pub peak_to_peak: Option<f64>,
    /// Of a soak: time the line spent within the band about the setpoint, seconds.
    pub in_band_s: Option<f64>,
}
