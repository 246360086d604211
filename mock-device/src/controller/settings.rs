//! What can be set at the controller's front.

use super::rule::TuningRule;

/// The three numbers, in the standard (ideal) form
/// `u = 100/band * (b r - y + 1/integral * sum(e) - derivative * dy/dt)`.
#[derive(Clone, Copy, Debug, PartialEq)]
pub struct Tuning {
    /// Proportional band, degrees of deviation for the whole output.
    pub band: f64,
    /// Integral time, s; 0 is off.
    pub integral_s: f64,
    /// Derivative time, s; 0 is off.
    pub derivative_s: f64,
}

/// Narrowest and widest proportional band, degrees.
pub const BAND_LIMITS: (f64, f64) = (0.1, 999.9);
/// Longest integral and derivative time, s.
pub const LONGEST_TIME_S: f64 = 9999.0;
/// Most decimals the display shows of a temperature or a percentage.
pub const MOST_DECIMALS: u8 = 1;
/// Shortest and longest cycle time, s.
pub const CYCLE_LIMITS_S: (f64, f64) = (1.0, 120.0);

impl Tuning {
    /// Three numbers in the order of the panel.
    pub const fn new(band: f64, integral_s: f64, derivative_s: f64) -> Self {
        Self {
            band,
            integral_s,
            derivative_s,
        }
    }

    /// Rounded as the panel shows and stores it: a tenth of a degree, whole seconds.
    #[must_use]
    pub fn as_shown(self) -> Self {
        Self {
            band: ((self.band * 10.0).round() / 10.0).clamp(BAND_LIMITS.0, BAND_LIMITS.1),
            integral_s: self.integral_s.round().clamp(0.0, LONGEST_TIME_S),
            derivative_s: self.derivative_s.round().clamp(0.0, LONGEST_TIME_S),
        }
    }

    /// Whether the panel would take it.
    pub fn is_allowed(&self) -> bool {
        let times = 0.0..=LONGEST_TIME_S;
        (BAND_LIMITS.0..=BAND_LIMITS.1).contains(&self.band)
            && times.contains(&self.integral_s)
            && times.contains(&self.derivative_s)
    }

    /// Gain, percent of output per degree.
    pub fn gain(&self) -> f64 {
        100.0 / self.band
    }
}

/// How the integral is kept from winding up while the output is at a limit.
#[derive(Clone, Copy, Debug, PartialEq)]
pub enum AntiWindup {
    /// It is not: for showing what that does.
    None,
    /// The integral stands still while the output is at a limit and the deviation would push it
    /// further (conditional integration; Astrom and Hagglund 1995, PID Controllers, 3.5).
    Conditional,
    /// The integral is drawn back with this time constant, s, by how far the output is cut
    /// (back-calculation; same source).
    BackCalculation(f64),
    /// The integral stands still outside the proportional band (common practice, no source).
    InsideBand,
}

/// How the controller tunes itself.
#[derive(Clone, Debug, PartialEq)]
pub struct AutotuneSettings {
    /// Highest output it may use, percent.
    pub output_limit: f64,
    /// Half width of the switching hysteresis about the setpoint, degrees.
    pub hysteresis: f64,
    /// Swings that must agree, after a first one that is thrown away.
    pub swings: usize,
    /// It gives up after this time, s.
    pub give_up_s: f64,
    /// How the swings become three numbers.
    pub rule: TuningRule,
}

/// Everything that can be set, with the panel's limits.
#[derive(Clone, Debug, PartialEq)]
pub struct Settings {
    /// The three numbers in use.
    pub tuning: Tuning,
    /// Where the process value should be, degC.
    pub setpoint: f64,
    /// Lowest setpoint the panel takes.
    pub setpoint_low: f64,
    /// Highest setpoint the panel takes.
    pub setpoint_high: f64,
    /// Lowest output, percent.
    pub output_low: f64,
    /// Highest output, percent.
    pub output_high: f64,
    /// Period over which the contact is switched in proportion, s.
    pub cycle_s: f64,
    /// How fast the working setpoint moves, degrees a minute; 0 is at once.
    pub ramp_per_min: f64,
    /// Share of the setpoint that the proportional term sees (b in the law), 0 to 1.
    pub setpoint_weight: f64,
    /// Filter of the derivative: its time constant is the derivative time over this number.
    pub derivative_filter_n: f64,
    /// What keeps the integral from winding up.
    pub anti_windup: AntiWindup,
    /// The alarm bit comes on above this, degC.
    pub alarm_high: f64,
    /// And goes off this far below it, degrees.
    pub alarm_hysteresis: f64,
    /// Output while the sensor is broken, percent.
    pub safe_output: f64,
    /// Decimals of temperatures and percentages on its display.
    pub decimals: u8,
    /// Whether whoever is on the wire may change anything, where the register layout asks for that.
    pub is_unlocked: bool,
    /// How it tunes itself.
    pub autotune: AutotuneSettings,
}

impl Settings {
    /// As delivered, for an oven that works up to 600 degC.
    pub fn as_delivered(tuning: Tuning, setpoint: f64) -> Self {
        Self {
            tuning,
            setpoint,
            setpoint_low: 0.0,
            setpoint_high: 600.0,
            output_low: 0.0,
            output_high: 100.0,
            cycle_s: 20.0,
            ramp_per_min: 0.0,
            setpoint_weight: 0.7,
            derivative_filter_n: 8.0,
            anti_windup: AntiWindup::Conditional,
            alarm_high: 560.0,
            alarm_hysteresis: 1.0,
            safe_output: 0.0,
            decimals: 1,
            is_unlocked: false,
            autotune: AutotuneSettings {
                output_limit: 100.0,
                hysteresis: 0.5,
                swings: 3,
                give_up_s: 3.0 * 3600.0,
                rule: TuningRule::TyreusLuyben1992,
            },
        }
    }
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn the_panel_shows_tenths_of_a_degree_and_whole_seconds() {
        let shown = Tuning::new(27.2345, 531.6, 39.4).as_shown();
        assert_eq!(shown, Tuning::new(27.2, 532.0, 39.0));
    }

    #[test]
    fn a_band_of_nothing_is_not_a_tuning() {
        assert!(!Tuning::new(0.0, 100.0, 0.0).is_allowed());
        assert!(!Tuning::new(f64::NAN, 100.0, 0.0).is_allowed());
        assert!(Tuning::new(0.1, 0.0, 0.0).is_allowed());
    }
}
