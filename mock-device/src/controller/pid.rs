//! The control law, in the standard form with the derivative on the filtered measurement.

use super::settings::{AntiWindup, Settings};

/// The law's memory.
#[derive(Clone, Debug, Default)]
pub(crate) struct Pid {
    /// Integral term, percent.
    integral: f64,
    /// Derivative term, percent.
    derivative: f64,
    /// Process value of the scan before; `None` after a start or a broken sensor.
    before: Option<f64>,
}

impl Pid {
    /// Arranges that the next output is `output`, so that nobody sees a bump.
    pub(crate) fn balance(&mut self, settings: &Settings, setpoint: f64, pv: f64, output: f64) {
        self.integral = output - proportional(settings, setpoint, pv);
        self.derivative = 0.0;
        self.before = Some(pv);
    }

    /// Forgets the last process value: the next one is no change.
    pub(crate) fn forget_measurement(&mut self) {
        self.before = None;
        self.derivative = 0.0;
    }

    /// One scan of `dt` seconds; the output in percent, within the settings' limits.
    pub(crate) fn scan(&mut self, settings: &Settings, setpoint: f64, pv: f64, dt: f64) -> f64 {
        self.differentiate(settings, pv, dt);
        let wanted = proportional(settings, setpoint, pv) + self.integral + self.derivative;
        let output = wanted.clamp(settings.output_low, settings.output_high);
        self.integrate(settings, setpoint - pv, output - wanted, dt);
        output
    }

    /// Backward difference of `Td s / (1 + s Td / N)` (Astrom and Hagglund 1995, 3.6).
    fn differentiate(&mut self, settings: &Settings, pv: f64, dt: f64) {
        let tuning = &settings.tuning;
        let change = self.before.map_or(0.0, |before| pv - before);
        self.before = Some(pv);
        let filter_s = tuning.derivative_s / settings.derivative_filter_n;
        let kept = filter_s / (filter_s + dt);
        let kick = tuning.gain() * tuning.derivative_s / (filter_s + dt);
        self.derivative = kept * self.derivative - kick * change;
    }

    /// `cut` is how far the limits moved the output: negative at the upper one.
    fn integrate(&mut self, settings: &Settings, deviation: f64, cut: f64, dt: f64) {
        let tuning = &settings.tuning;
        if tuning.integral_s <= 0.0 {
            return;
        }
        let step = tuning.gain() * deviation * dt / tuning.integral_s;
        self.integral += match settings.anti_windup {
            AntiWindup::Conditional if cut * step < 0.0 => 0.0,
            AntiWindup::InsideBand if deviation.abs() > tuning.band => 0.0,
            AntiWindup::BackCalculation(time_s) => step + cut * dt / time_s.max(dt),
            AntiWindup::None | AntiWindup::Conditional | AntiWindup::InsideBand => step,
        };
    }
}

fn proportional(settings: &Settings, setpoint: f64, pv: f64) -> f64 {
    settings.tuning.gain() * (settings.setpoint_weight * setpoint - pv)
}

#[cfg(test)]
mod tests {
    use super::super::settings::Tuning;
    use super::*;

    const DT: f64 = 0.5;

    fn settings(band: f64, integral_s: f64, derivative_s: f64) -> Settings {
        let tuning = Tuning::new(band, integral_s, derivative_s);
        let mut settings = Settings::as_delivered(tuning, 100.0);
        settings.setpoint_weight = 1.0;
        settings
    }

    /// Closed form: P alone is 100 % over the band; I adds the same again every integral time.
    #[test]
    fn the_integral_repeats_the_proportional_action_once_every_integral_time() {
        let s = settings(50.0, 120.0, 0.0);
        let mut pid = Pid::default();
        let first = pid.scan(&s, 100.0, 95.0, DT);
        assert!((first - 10.0).abs() < 1e-12);
        let scans = (120.0 / DT) as u32;
        let last = (0..scans).fold(0.0, |_, _| pid.scan(&s, 100.0, 95.0, DT));
        assert!((last - 20.0).abs() < 1e-9, "{last}");
    }

    /// Closed form: on a ramp of the process value the filtered derivative settles at
    /// `-gain * Td * slope`.
    #[test]
    fn the_derivative_of_a_ramp_is_gain_times_derivative_time_times_slope() {
        let s = settings(50.0, 0.0, 40.0);
        let mut pid = Pid::default();
        let (mut pv, mut output) = (60.0, 0.0);
        for _ in 0..400 {
            output = pid.scan(&s, 100.0, pv, DT);
            pv += 0.1 * DT;
        }
        let proportional = 2.0 * (100.0 - (pv - 0.1 * DT));
        assert!((output - proportional + 2.0 * 40.0 * 0.1).abs() < 1e-6);
    }

    #[test]
    fn a_setpoint_change_gives_no_derivative_kick() {
        let mut s = settings(50.0, 0.0, 40.0);
        s.setpoint_weight = 0.5;
        let mut pid = Pid::default();
        let before = pid.scan(&s, 80.0, 70.0, DT);
        let after = pid.scan(&s, 100.0, 70.0, DT);
        assert!((before - 0.0).abs() < 1e-12);
        // Weighted by a half: 20 degrees count as 10, less what the lower limit had cut.
        assert!((after - 0.0).abs() < 1e-12);
        pid.balance(&s, 80.0, 70.0, 30.0);
        assert!((pid.scan(&s, 100.0, 70.0, DT) - 50.0).abs() < 1e-12);
    }

    #[test]
    fn balancing_makes_the_next_output_what_was_asked() {
        let s = settings(12.0, 200.0, 50.0);
        let mut pid = Pid::default();
        pid.balance(&s, 510.0, 507.3, 41.5);
        let output = pid.scan(&s, 510.0, 507.3, DT);
        assert!((output - 41.5).abs() < 1e-9);
    }

    /// An hour 100 degrees below the setpoint at full output, then 5 degrees above: the law without
    /// any scheme stays at full output, each scheme has let go after a scan or two.
    #[test]
    fn every_anti_windup_scheme_lets_go_where_the_bare_law_stays_stuck() {
        let after_an_hour = |scheme: AntiWindup| {
            let mut s = settings(20.0, 300.0, 0.0);
            s.anti_windup = scheme;
            let mut pid = Pid::default();
            (0..7200).for_each(|_| {
                pid.scan(&s, 500.0, 400.0, DT);
            });
            pid.scan(&s, 500.0, 505.0, DT)
        };
        assert!(after_an_hour(AntiWindup::None) > 99.9);
        assert!(after_an_hour(AntiWindup::Conditional) < 1.0);
        assert!(after_an_hour(AntiWindup::InsideBand) < 1.0);
        assert!(after_an_hour(AntiWindup::BackCalculation(60.0)) < 1.0);
    }
}
