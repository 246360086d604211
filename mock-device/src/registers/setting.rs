//! The settings that registers can read and write, whatever their place and encoding.

use crate::controller::{Controller, Refused, Tuning};

/// One number that can be set.
#[derive(Clone, Copy, Debug, PartialEq, Eq)]
pub(super) enum Setting {
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
}

impl Setting {
    /// Its value, in degrees, seconds, percent or degrees a minute.
    pub(super) fn get(self, c: &Controller) -> f64 {
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
        }
    }

    /// Sets it as the panel would.
    pub(super) fn set(self, c: &mut Controller, value: f64) -> Result<(), Refused> {
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
        }
    }
}
