//! The controller's front: what a person, or a register write, may ask of it, and what it shows.

use super::{
    Autotune, AutotuneState, BAND_LIMITS, CYCLE_LIMITS_S, Controller, LONGEST_TIME_S,
    MOST_DECIMALS, Mode, Refused, Settings, Tuning,
};

/// Steepest setpoint ramp, degrees a minute.
const STEEPEST_RAMP: f64 = 500.0;

fn within(what: &'static str, value: f64, low: f64, high: f64) -> Result<f64, Refused> {
    if (low..=high).contains(&value) {
        Ok(value)
    } else {
        Err(Refused::OutOfRange {
            what,
            value,
            low,
            high,
        })
    }
}

/// What it shows.
impl Controller {
    /// Everything that is set.
    pub fn settings(&self) -> &Settings {
        &self.settings
    }

    /// The process value; `None` while the sensor is broken.
    pub fn pv(&self) -> Option<f64> {
        self.pv
    }

    /// The setpoint control works to now; moves along the ramp.
    pub fn working_setpoint(&self) -> f64 {
        self.working_setpoint
    }

    /// Demand, percent.
    pub fn output(&self) -> f64 {
        self.output
    }

    /// How long it has been running, s.
    pub fn running_s(&self) -> f64 {
        self.running_s
    }

    /// Automatic or manual.
    pub fn mode(&self) -> Mode {
        self.mode
    }

    /// Whether the contact was closed at any time since the last scan.
    pub fn is_heating(&self) -> bool {
        self.heating
    }

    /// Whether the high alarm is on; a broken sensor raises it too.
    pub fn is_alarm(&self) -> bool {
        self.alarm
    }

    /// How the last autotune ended, or that one is under way.
    pub fn autotune(&self) -> AutotuneState {
        if self.tune.is_some() {
            AutotuneState::Active
        } else {
            self.last_tune
        }
    }

    /// Swings the autotune under way has seen so far.
    pub fn autotune_swings(&self) -> usize {
        self.tune.as_ref().map_or(0, Autotune::swings)
    }
}

/// What a person may ask. Each refuses, and changes nothing, outside its limits.
impl Controller {
    /// Sets the setpoint, within its limits; an autotune under way is aborted.
    ///
    /// # Errors
    /// Outside the setpoint limits.
    pub fn set_setpoint(&mut self, value: f64) -> Result<(), Refused> {
        let (low, high) = (self.settings.setpoint_low, self.settings.setpoint_high);
        self.settings.setpoint = within("setpoint", value, low, high)?;
        self.abort_autotune();
        Ok(())
    }

    /// Sets the three numbers, without a bump of the output.
    ///
    /// # Errors
    /// Outside what the panel takes, or while an autotune is under way.
    pub fn set_tuning(&mut self, tuning: Tuning) -> Result<(), Refused> {
        within(
            "proportional band",
            tuning.band,
            BAND_LIMITS.0,
            BAND_LIMITS.1,
        )?;
        within("integral time", tuning.integral_s, 0.0, LONGEST_TIME_S)?;
        within("derivative time", tuning.derivative_s, 0.0, LONGEST_TIME_S)?;
        if self.tune.is_some() {
            return Err(Refused::NotNow("an autotune is under way"));
        }
        self.settings.tuning = tuning;
        self.rebalance(self.output);
        Ok(())
    }

    /// Starts an autotune at the setpoint; one that is under way goes on.
    ///
    /// # Errors
    /// In manual, or while the sensor is broken.
    pub fn start_autotune(&mut self) -> Result<(), Refused> {
        if self.tune.is_some() {
            return Ok(());
        }
        let Some(pv) = self.pv else {
            return Err(Refused::NotNow("no autotune: the sensor is broken"));
        };
        if self.mode == Mode::Manual {
            return Err(Refused::NotNow("no autotune in manual"));
        }
        self.tune = Some(Autotune::begin(&self.settings, self.settings.setpoint, pv));
        self.contact.restart();
        Ok(())
    }

    /// Stops an autotune; the tuning stays as it was.
    pub fn abort_autotune(&mut self) {
        if self.tune.is_some() {
            self.end_tune(AutotuneState::Aborted, self.output);
        }
    }

    /// Takes the output in hand at its present value; aborts an autotune.
    pub fn go_manual(&mut self) {
        self.abort_autotune();
        self.mode = Mode::Manual;
    }

    /// Takes the output in hand at `percent`.
    ///
    /// # Errors
    /// Outside the output limits; the mode is then as before.
    pub fn go_manual_at(&mut self, percent: f64) -> Result<(), Refused> {
        let (low, high) = (self.settings.output_low, self.settings.output_high);
        let output = within("manual output", percent, low, high)?;
        self.go_manual();
        self.output = output;
        Ok(())
    }

    /// Gives the output back to the law, from where it stands.
    pub fn go_automatic(&mut self) {
        if self.mode == Mode::Manual {
            self.mode = Mode::Automatic;
            self.rebalance(self.output);
        }
    }

    /// Sets the output by hand, percent.
    ///
    /// # Errors
    /// In automatic, or outside the output limits.
    pub fn set_manual_output(&mut self, percent: f64) -> Result<(), Refused> {
        if self.mode == Mode::Automatic {
            return Err(Refused::NotNow("the output is set by hand only in manual"));
        }
        let (low, high) = (self.settings.output_low, self.settings.output_high);
        self.output = within("manual output", percent, low, high)?;
        Ok(())
    }

    /// Sets the cycle time, s.
    ///
    /// # Errors
    /// Outside 1 to 120 s.
    pub fn set_cycle_time(&mut self, seconds: f64) -> Result<(), Refused> {
        let (low, high) = CYCLE_LIMITS_S;
        self.settings.cycle_s = within("cycle time", seconds, low, high)?;
        Ok(())
    }

    /// Sets the setpoint limits, degC; a setpoint outside moves to the nearer one.
    ///
    /// # Errors
    /// Outside -200 to 1300 degC, or the lower above the upper.
    pub fn set_setpoint_limits(&mut self, (low, high): (f64, f64)) -> Result<(), Refused> {
        let low = within("lower setpoint limit", low, -200.0, high.min(1300.0))?;
        let high = within("upper setpoint limit", high, low, 1300.0)?;
        (self.settings.setpoint_low, self.settings.setpoint_high) = (low, high);
        let kept = self.settings.setpoint.clamp(low, high);
        if (kept - self.settings.setpoint).abs() > 0.0 {
            self.set_setpoint(kept)?;
        }
        Ok(())
    }

    /// Sets the output limits, percent; an output outside moves to the nearer one.
    ///
    /// # Errors
    /// Outside 0 to 100 %, or the lower above the upper.
    pub fn set_output_limits(&mut self, (low, high): (f64, f64)) -> Result<(), Refused> {
        let low = within("lower output limit", low, 0.0, high.min(100.0))?;
        let high = within("upper output limit", high, low, 100.0)?;
        (self.settings.output_low, self.settings.output_high) = (low, high);
        self.output = self.output.clamp(low, high);
        Ok(())
    }

    /// Sets the high alarm, degC.
    ///
    /// # Errors
    /// Outside -200 to 1300 degC.
    pub fn set_alarm_high(&mut self, celsius: f64) -> Result<(), Refused> {
        self.settings.alarm_high = within("high alarm", celsius, -200.0, 1300.0)?;
        Ok(())
    }

    /// Sets how fast the working setpoint moves, degrees a minute; 0 is at once.
    ///
    /// # Errors
    /// Outside 0 to 500.
    pub fn set_ramp(&mut self, degrees_per_minute: f64) -> Result<(), Refused> {
        self.settings.ramp_per_min =
            within("setpoint ramp", degrees_per_minute, 0.0, STEEPEST_RAMP)?;
        Ok(())
    }

    /// Sets the highest output an autotune may use, percent.
    ///
    /// # Errors
    /// Outside 10 to 100 %.
    pub fn set_autotune_limit(&mut self, percent: f64) -> Result<(), Refused> {
        self.settings.autotune.output_limit =
            within("autotune output limit", percent, 10.0, 100.0)?;
        Ok(())
    }

    /// Sets how many decimals temperatures and percentages are shown with, a whole number.
    ///
    /// # Errors
    /// More than [`MOST_DECIMALS`].
    pub fn set_decimals(&mut self, decimals: f64) -> Result<(), Refused> {
        let most = f64::from(MOST_DECIMALS);
        self.settings.decimals = within("decimals", decimals, 0.0, most)? as u8;
        Ok(())
    }

    /// Lets whoever is on the wire change something, or not.
    pub fn set_unlocked(&mut self, is_unlocked: bool) {
        self.settings.is_unlocked = is_unlocked;
    }

    /// Changes what the front does not offer: how the law treats setpoint, windup and noise.
    pub fn engineer(&mut self, change: impl FnOnce(&mut Settings)) {
        change(&mut self.settings);
        self.rebalance(self.output);
    }
}
