//! The settings that registers can read and write, whatever their place and encoding.

use super::unit::Kind;
use crate::controller::{Controller, Refused, Tuning};

/// One number that can be set.
#[derive(Clone, Copy, Debug, PartialEq, Eq)]
#[expect(
    missing_docs,
    reason = "each is a setting of the controller, named there"
)]
pub enum Setting {
    Setpoint,
    Band,
    Integral,
    Derivative,
    Cycle,
    SetpointHigh,
    SetpointLow,
    OutputHigh,
    OutputLow,
    ManualOutput,
    Alarm,
    Ramp,
    AutotuneLimit,
    Decimals,
}

impl Setting {
    /// Every one, in the order in which a person would look at them.
    pub const ALL: [Self; 14] = [
        Self::Setpoint,
        Self::Band,
        Self::Integral,
        Self::Derivative,
        Self::Cycle,
        Self::SetpointHigh,
        Self::SetpointLow,
        Self::OutputHigh,
        Self::OutputLow,
        Self::ManualOutput,
        Self::Alarm,
        Self::Ramp,
        Self::AutotuneLimit,
        Self::Decimals,
    ];

    /// What it is called.
    pub const fn label(self) -> &'static str {
        match self {
            Self::Setpoint => "Setpoint",
            Self::Band => "Proportional band",
            Self::Integral => "Integral time",
            Self::Derivative => "Derivative time",
            Self::Cycle => "Cycle time",
            Self::SetpointHigh => "Highest setpoint",
            Self::SetpointLow => "Lowest setpoint",
            Self::OutputHigh => "Highest output",
            Self::OutputLow => "Lowest output",
            Self::ManualOutput => "Output in manual",
            Self::Alarm => "High alarm",
            Self::Ramp => "Setpoint ramp",
            Self::AutotuneLimit => "Highest output while tuning",
            Self::Decimals => "Decimals on the display",
        }
    }

    /// What kind of number it is.
    pub const fn kind(self) -> Kind {
        match self {
            Self::Setpoint | Self::SetpointHigh | Self::SetpointLow | Self::Alarm => {
                Kind::Temperature
            }
            Self::Band => Kind::Difference,
            Self::Integral | Self::Derivative | Self::Cycle => Kind::Time,
            Self::OutputHigh | Self::OutputLow | Self::ManualOutput | Self::AutotuneLimit => {
                Kind::Percent
            }
            Self::Ramp => Kind::Rate,
            Self::Decimals => Kind::Count,
        }
    }

    /// Its value, in degrees, seconds, percent or degrees a minute.
    pub fn get(self, c: &Controller) -> f64 {
        let s = c.settings();
        match self {
            Self::Setpoint => s.setpoint,
            Self::Band => s.tuning.band,
            Self::Integral => s.tuning.integral_s,
            Self::Derivative => s.tuning.derivative_s,
            Self::Cycle => s.cycle_s,
            Self::SetpointHigh => s.setpoint_high,
            Self::SetpointLow => s.setpoint_low,
            Self::OutputHigh => s.output_high,
            Self::OutputLow => s.output_low,
            Self::ManualOutput => c.output(),
            Self::Alarm => s.alarm_high,
            Self::Ramp => s.ramp_per_min,
            Self::AutotuneLimit => s.autotune.output_limit,
            Self::Decimals => s.decimals.into(),
        }
    }

    /// Sets it as the panel would.
    ///
    /// # Errors
    /// What the panel refuses.
    pub fn set(self, c: &mut Controller, value: f64) -> Result<(), Refused> {
        let now = c.settings();
        let tuning = now.tuning;
        let setpoints = (now.setpoint_low, now.setpoint_high);
        let outputs = (now.output_low, now.output_high);
        match self {
            Self::Setpoint => c.set_setpoint(value),
            Self::Band => c.set_tuning(Tuning {
                band: value,
                ..tuning
            }),
            Self::Integral => c.set_tuning(Tuning {
                integral_s: value,
                ..tuning
            }),
            Self::Derivative => c.set_tuning(Tuning {
                derivative_s: value,
                ..tuning
            }),
            Self::Cycle => c.set_cycle_time(value),
            Self::SetpointHigh => c.set_setpoint_limits((setpoints.0, value)),
            Self::SetpointLow => c.set_setpoint_limits((value, setpoints.1)),
            Self::OutputHigh => c.set_output_limits((outputs.0, value)),
            Self::OutputLow => c.set_output_limits((value, outputs.1)),
            Self::ManualOutput => c.set_manual_output(value),
            Self::Alarm => c.set_alarm_high(value),
            Self::Ramp => c.set_ramp(value),
            Self::AutotuneLimit => c.set_autotune_limit(value),
            Self::Decimals => c.set_decimals(value),
        }
    }
}
