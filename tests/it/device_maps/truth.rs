//! What a point should read, from the simulated controller itself.

use emberline::line::Seen;
use emberline::map::{Map, Meaning, Point, Refresh, Role, Scaling};
use emberline::sample::Reading;
use mock_device::Oven;
use mock_device::controller::{AutotuneState, Controller, Mode};
use rust_decimal::prelude::ToPrimitive as _;

/// What a point should read.
#[derive(Debug, PartialEq)]
pub(crate) enum Truth {
    /// A temperature, degC.
    Temperature(f64),
    /// A difference or a rate, degrees C.
    Difference(f64),
    /// A time, s.
    Time(f64),
    /// Anything else, in its own unit.
    Number(f64),
    /// A status that is on or not.
    Status(bool),
    Means(Meaning),
    Named(&'static str),
    /// The fault of a broken sensor.
    SensorOpen,
    /// It cannot be read.
    NotThere,
}

impl Truth {
    pub(crate) fn of(oven: &Oven, point: &Point, map: &Map) -> Self {
        let c = &oven.controller;
        let s = c.settings();
        match point.role {
            _ if point.refresh == Refresh::Never => Self::NotThere,
            Role::ProcessValue => c.pv().map_or(Self::SensorOpen, Self::Temperature),
            Role::Setpoint => Self::Temperature(s.setpoint),
            Role::WorkingSetpoint => Self::Temperature(c.working_setpoint()),
            Role::Output | Role::ManualOutput => Self::Number(c.output()),
            Role::Proportional => proportional(s.tuning.band, map),
            Role::Integral => Self::Time(s.tuning.integral_s),
            Role::Derivative => Self::Time(s.tuning.derivative_s),
            Role::CycleTime => Self::Time(s.cycle_s),
            Role::SetpointHigh => Self::Temperature(s.setpoint_high),
            Role::SetpointLow => Self::Temperature(s.setpoint_low),
            Role::OutputHigh => Self::Number(s.output_high),
            Role::OutputLow => Self::Number(s.output_low),
            Role::AlarmSetpoint => Self::Temperature(s.alarm_high),
            Role::RampRate => Self::Difference(s.ramp_per_min),
            Role::DecimalPoint => Self::Number(s.decimals.into()),
            Role::AutotuneActive => Self::Status(is_tuning(c)),
            Role::AutotuneCommand => Self::Number(f64::from(u8::from(is_tuning(c)))),
            Role::Alarm => Self::Status(c.is_alarm()),
            Role::Fault => Self::Status(c.pv().is_none()),
            Role::Mode if c.mode() == Mode::Manual => Self::Means(Meaning::Manual),
            Role::Mode => Self::Means(Meaning::Automatic),
            _ => Self::named(c, point),
        }
    }

    fn named(c: &Controller, point: &Point) -> Self {
        match point.name.as_str() {
            "heating" => Self::Status(c.is_heating()),
            "tuning_lamp" => Self::Status(is_tuning(c)),
            "autotune_limit" => Self::Number(c.settings().autotune.output_limit),
            "running" => Self::Time(c.running_s()),
            "lock" if c.settings().is_unlocked => Self::Named("open"),
            "lock" => Self::Named("locked"),
            "autotune_result" => Self::Named(match c.autotune() {
                AutotuneState::Never => "never tuned",
                AutotuneState::Active => "under way",
                AutotuneState::Tuned => "tuned",
                AutotuneState::TimedOut => "timed out",
                AutotuneState::Aborted => "aborted",
                AutotuneState::Failed => "failed",
            }),
            other => unreachable!("what should '{other}' read?"),
        }
    }

    /// What is wrong with what was seen, if anything.
    pub(crate) fn differs(&self, point: &Point, seen: &Seen, map: &Map) -> Option<String> {
        let reading = &seen.reading;
        let unit = seen.unit.as_deref().unwrap_or_default();
        let is_right = match self {
            Self::NotThere => matches!(reading, Reading::Absent(_)),
            Self::SensorOpen => matches!(reading, Reading::Fault(_)),
            Self::Status(is_on) => map.is_active(point, reading) == Some(*is_on),
            Self::Means(meaning) => map.meaning(point, reading) == Some(*meaning),
            Self::Named(name) => point.name_of(reading) == Some(name),
            _ => {
                let expected = self.in_unit(unit);
                let off = reading.value().map(|read| (read - expected).abs());
                off.is_some_and(|off| off <= half_step(point, reading) + 1e-6)
            }
        };
        (!is_right).then(|| format!("{self:?} reads {reading:?} {unit} from {:04X?}", seen.raw))
    }

    fn in_unit(&self, unit: &str) -> f64 {
        match (self, unit) {
            (Self::Temperature(degrees), "degF") => degrees * 1.8 + 32.0,
            (Self::Difference(degrees), "degF" | "degF/min") => degrees * 1.8,
            (Self::Time(seconds), "min") => seconds / 60.0,
            (
                Self::Temperature(number)
                | Self::Difference(number)
                | Self::Time(number)
                | Self::Number(number),
                _,
            ) => *number,
            _ => f64::NAN,
        }
    }
}

fn is_tuning(c: &Controller) -> bool {
    c.autotune() == AutotuneState::Active
}

/// The band, in percent of the span where the map says so; the span is in the unit of the point's
/// own map, and so is a whole degree of it.
fn proportional(band: f64, map: &Map) -> Truth {
    use emberline::map::Proportional;

    let form = map.tuning.as_ref();
    let span = form.filter(|form| form.proportional == Proportional::BandPercent);
    match span.and_then(|form| form.span) {
        Some((low, high)) => {
            let pv = map.point_with(Role::ProcessValue);
            let is_f = pv.is_some_and(|pv| pv.column().ends_with("degF"));
            let span = (high - low) / if is_f { 1.8 } else { 1.0 };
            Truth::Number(100.0 * band / span)
        }
        None => Truth::Difference(band),
    }
}

/// Half of the smallest step that the point can show.
fn half_step(point: &Point, reading: &Reading) -> f64 {
    let decimals = |reading: &Reading| {
        let shown = reading.to_string();
        let places = shown.split_once('.').map_or("", |(_, places)| places);
        places.chars().fold(1.0, |step, _| step / 10.0)
    };
    let step = match &point.scaling {
        Scaling::Linear { scale, .. } if !point.encoding.is_float() => scale.to_f64().unwrap(),
        Scaling::Linear { .. } => 1e-3,
        Scaling::Decimals(_) | Scaling::DecimalsFrom(_) => decimals(reading),
    };
    step / 2.0
}
