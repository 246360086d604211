//! The temperature controller: what it does at every scan and what its front lets a person do.

mod autotune;
mod pid;
mod proportioning;
mod rule;
mod settings;

use std::fmt;

use autotune::{Autotune, Progress};
use pid::Pid;
use proportioning::Proportioning;

pub use autotune::AutotuneState;
pub use rule::{Swing, TuningRule, Ultimate, ultimate};
pub use settings::{
    AntiWindup, AutotuneSettings, BAND_LIMITS, CYCLE_LIMITS_S, LONGEST_TIME_S, MOST_DECIMALS,
    Settings, Tuning,
};

/// Automatic control, or an output set by hand.
#[derive(Clone, Copy, Debug, Default, PartialEq, Eq)]
pub enum Mode {
    /// The law decides the output.
    #[default]
    Automatic,
    /// A person does.
    Manual,
}

/// Why the controller did not do what it was asked.
#[derive(Clone, Debug, PartialEq)]
pub enum Refused {
    /// A value outside its limits.
    OutOfRange {
        /// What was to be set.
        what: &'static str,
        /// The value.
        value: f64,
        /// Lowest value allowed.
        low: f64,
        /// Highest value allowed.
        high: f64,
    },
    /// Nothing wrong with the value, but not now.
    NotNow(&'static str),
}

impl fmt::Display for Refused {
    fn fmt(&self, f: &mut fmt::Formatter<'_>) -> fmt::Result {
        match self {
            Self::OutOfRange {
                what,
                value,
                low,
                high,
            } => write!(f, "{what} {value} is outside {low} to {high}"),
            Self::NotNow(why) => f.write_str(why),
        }
    }
}

impl std::error::Error for Refused {}

/// A controller at a moment.
#[derive(Clone, Debug)]
pub struct Controller {
    settings: Settings,
    mode: Mode,
    pid: Pid,
    contact: Proportioning,
    tune: Option<Autotune>,
    last_tune: AutotuneState,
    pv: Option<f64>,
    working_setpoint: f64,
    output: f64,
    heating: bool,
    alarm: bool,
    running_s: f64,
}

impl Controller {
    /// In automatic, as if it had just been switched on with the process value at `pv`, holding
    /// `output` percent.
    pub fn new(settings: Settings, pv: f64, output: f64) -> Self {
        let mut pid = Pid::default();
        pid.balance(&settings, settings.setpoint, pv, output);
        Self {
            mode: Mode::Automatic,
            pid,
            contact: Proportioning::default(),
            tune: None,
            last_tune: AutotuneState::Never,
            pv: Some(pv),
            working_setpoint: settings.setpoint,
            output,
            heating: false,
            alarm: false,
            running_s: 0.0,
            settings,
        }
    }

    /// One scan of `dt` seconds with this reading (`None`: the sensor is broken); the share of the
    /// time until the next scan for which the contact is closed.
    pub fn scan(&mut self, reading: Option<f64>, dt: f64) -> f64 {
        if self.pv.is_none() {
            self.pid.forget_measurement();
        }
        self.pv = reading;
        self.running_s += dt;
        self.ramp(dt);
        self.output = match reading {
            Some(pv) => self.decide(pv, dt),
            None => self.without_sensor(),
        };
        self.watch_alarm();
        let closed = self.contact.scan(self.output, self.settings.cycle_s, dt);
        self.heating = closed > 0.0;
        closed
    }

    fn decide(&mut self, pv: f64, dt: f64) -> f64 {
        if let Some(tune) = &mut self.tune {
            match tune.scan(&self.settings, pv, dt) {
                Progress::Going { output, switched } => {
                    if switched {
                        self.contact.restart();
                    }
                    return output;
                }
                Progress::Done { at, mean_output } => {
                    let found = self.settings.autotune.rule.tuning(at);
                    self.settings.tuning = found.as_shown();
                    self.end_tune(AutotuneState::Tuned, mean_output);
                }
                Progress::Ended(how) => self.end_tune(how, self.output),
            }
        }
        match self.mode {
            Mode::Manual => self.output,
            Mode::Automatic => {
                let setpoint = self.working_setpoint;
                self.pid.scan(&self.settings, setpoint, pv, dt)
            }
        }
    }

    /// A controller that does not see must not heat; a tune without a sensor is over.
    fn without_sensor(&mut self) -> f64 {
        if self.tune.is_some() {
            self.end_tune(AutotuneState::Failed, self.settings.safe_output);
        }
        match self.mode {
            Mode::Manual => self.output,
            Mode::Automatic => self.settings.safe_output,
        }
    }

    fn ramp(&mut self, dt: f64) {
        let target = self.settings.setpoint;
        let rate = self.settings.ramp_per_min / 60.0;
        self.working_setpoint = if rate > 0.0 {
            let step = rate * dt;
            self.working_setpoint + (target - self.working_setpoint).clamp(-step, step)
        } else {
            target
        };
    }

    fn watch_alarm(&mut self) {
        let threshold = if self.alarm {
            self.settings.alarm_high - self.settings.alarm_hysteresis
        } else {
            self.settings.alarm_high
        };
        // A sensor that cannot be read is as bad as one that reads too much.
        self.alarm = self.pv.is_none_or(|pv| pv > threshold);
    }

    fn end_tune(&mut self, how: AutotuneState, output: f64) {
        self.tune = None;
        self.last_tune = how;
        self.rebalance(output);
    }

    fn rebalance(&mut self, output: f64) {
        if let Some(pv) = self.pv {
            let setpoint = self.working_setpoint;
            self.pid.balance(&self.settings, setpoint, pv, output);
        }
    }
}

mod front;

#[cfg(test)]
mod tests;
