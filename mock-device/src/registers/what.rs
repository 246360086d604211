//! What a register can hold: a number of the controller, or one of its states.

use super::Exception;
use super::setting::Setting;
use super::unit::Kind;
use crate::controller::{AutotuneState, Controller, Mode};

/// What stands in a register.
#[derive(Clone, Copy, Debug, PartialEq)]
pub enum What {
    /// The measured temperature.
    ProcessValue,
    /// The setpoint that control works to at present.
    WorkingSetpoint,
    /// The demand.
    Output,
    /// The process value less the setpoint.
    Deviation,
    /// Something that can be set.
    Set(Setting),
    /// One of a few states.
    State(State),
    /// How long the controller has been running.
    RunningTime,
    /// The temperature at the sensor's terminals: that of a warm cabinet.
    TerminalTemperature,
    /// Something that never changes, with what it is called.
    Constant(f64, Kind, &'static str),
}

/// A state of the controller, one of a few. Its values count from 0 in the order of
/// [`names`](Self::names); what stands for each in a register is the item's business.
#[derive(Clone, Copy, Debug, PartialEq, Eq)]
pub enum State {
    /// Automatic or manual.
    Mode,
    /// Whether an autotune is under way.
    Tuning,
    /// How the last autotune ended.
    TuneResult,
    /// The high alarm.
    Alarm,
    /// Whether the sensor is broken.
    SensorFault,
    /// Whether the contact was closed.
    Heating,
    /// What the controller does, all in one.
    Operation,
    /// The command that starts and stops an autotune.
    TuneCommand,
    /// Whether what is written is taken.
    WriteAccess,
}

/// What the cabinet's air has, degC, and how much its terminals are warmer after an hour.
const CABINET: (f64, f64) = (24.6, 6.0);

impl What {
    /// The number, where it is one: `Some(None)` while the sensor is broken.
    pub fn number(self, c: &Controller) -> Option<Option<f64>> {
        Some(match self {
            Self::ProcessValue => c.pv(),
            Self::WorkingSetpoint => Some(c.working_setpoint()),
            Self::Output => Some(c.output()),
            Self::Deviation => c.pv().map(|pv| pv - c.working_setpoint()),
            Self::Set(setting) => Some(setting.get(c)),
            Self::RunningTime => Some(c.running_s()),
            Self::TerminalTemperature => {
                let warmed = 1.0 - (-c.running_s() / 3600.0).exp();
                Some(CABINET.0 + CABINET.1 * warmed)
            }
            Self::Constant(number, ..) => Some(number),
            Self::State(_) => return None,
        })
    }

    /// What kind of number it is; a state is none.
    pub const fn kind(self) -> Kind {
        match self {
            Self::ProcessValue | Self::WorkingSetpoint | Self::TerminalTemperature => {
                Kind::Temperature
            }
            Self::Output => Kind::Percent,
            Self::Deviation => Kind::Difference,
            Self::Set(setting) => setting.kind(),
            Self::RunningTime => Kind::Time,
            Self::Constant(_, kind, _) => kind,
            Self::State(_) => Kind::Count,
        }
    }

    /// What it is called.
    pub const fn label(self) -> &'static str {
        match self {
            Self::ProcessValue => "Process value",
            Self::WorkingSetpoint => "Setpoint in use",
            Self::Output => "Output",
            Self::Deviation => "Deviation from the setpoint",
            Self::Set(setting) => setting.label(),
            Self::State(state) => state.label(),
            Self::RunningTime => "Time since power-up",
            Self::TerminalTemperature => "Terminal temperature",
            Self::Constant(_, _, label) => label,
        }
    }
}

impl State {
    /// What it is called.
    pub const fn label(self) -> &'static str {
        match self {
            Self::Mode => "Control mode",
            Self::Tuning => "Autotune active",
            Self::TuneResult => "Last autotune",
            Self::Alarm => "High alarm on",
            Self::SensorFault => "Sensor fault",
            Self::Heating => "Heater on",
            Self::Operation => "Operating state",
            Self::TuneCommand => "Autotune",
            Self::WriteAccess => "Write access",
        }
    }

    /// What its values are called.
    pub fn names(self) -> &'static [&'static str] {
        match self {
            Self::Mode => &["automatic", "manual"],
            Self::Tuning | Self::Alarm | Self::SensorFault | Self::Heating => &["no", "yes"],
            Self::TuneResult => &[
                "never tuned",
                "under way",
                "tuned",
                "timed out",
                "aborted",
                "failed",
            ],
            Self::Operation => &["automatic", "manual", "tuning", "sensor fault"],
            Self::TuneCommand => &["stop", "start"],
            Self::WriteAccess => &["locked", "open"],
        }
    }

    /// Its value now.
    pub fn now(self, c: &Controller) -> usize {
        let is_tuning = c.autotune() == AutotuneState::Active;
        let is_manual = c.mode() == Mode::Manual;
        match self {
            Self::Tuning | Self::TuneCommand => is_tuning.into(),
            Self::TuneResult => match c.autotune() {
                AutotuneState::Never => 0,
                AutotuneState::Active => 1,
                AutotuneState::Tuned => 2,
                AutotuneState::TimedOut => 3,
                AutotuneState::Aborted => 4,
                AutotuneState::Failed => 5,
            },
            Self::Alarm => c.is_alarm().into(),
            Self::SensorFault => c.pv().is_none().into(),
            Self::Heating => c.is_heating().into(),
            Self::Operation if c.pv().is_none() => 3,
            Self::Operation if is_tuning => 2,
            Self::Mode | Self::Operation => is_manual.into(),
            Self::WriteAccess => c.settings().is_unlocked.into(),
        }
    }

    /// Brings it to this value.
    ///
    /// # Errors
    /// [`Exception::IllegalAddress`] for what only shows, otherwise what the panel refuses.
    pub fn set(self, c: &mut Controller, value: usize) -> Result<(), Exception> {
        match (self, value) {
            (Self::Mode, 0) => c.go_automatic(),
            (Self::Mode, 1) => c.go_manual(),
            (Self::TuneCommand, 0) => c.abort_autotune(),
            (Self::TuneCommand, 1) => c.start_autotune()?,
            (Self::WriteAccess, value) => c.set_unlocked(value == 1),
            _ => return Err(Exception::IllegalAddress),
        }
        Ok(())
    }
}
