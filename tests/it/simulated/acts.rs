//! What a person does at the oven, each with what `measure` must find of it.

use mock_device::controller::{AutotuneState, Tuning};

use super::truth::{Form, Happened};
use super::workshop::{Workshop, thousandths};

/// A disturbance this much larger than the band must be found, and one this much smaller must not.
const SURELY_OUT: f64 = 1.3;
const SURELY_IN: f64 = 0.7;

impl Workshop {
    /// Until the loop is calm, or does not become so.
    pub(super) fn rest(&mut self) {
        let size = self.habit.size;
        let give_up = self.now_s + 7000.0 * size;
        let calm_for = 240.0 + 300.0 * size;
        let mut calm_since = self.now_s;
        while self.now_s < give_up && self.now_s - calm_since < calm_for {
            self.wait(10.0);
            let off = self.deviations.last().copied().unwrap_or(0.0);
            if off.abs() > 0.5 * self.habit.band {
                calm_since = self.now_s;
            }
        }
    }

    /// No gap hides what happens in the next so many seconds.
    pub(super) fn protect_next(&mut self, seconds: f64) {
        self.protected
            .push((self.now_s - 10.0, self.now_s + seconds));
    }

    /// The setpoint goes there at once.
    pub(super) fn step_to(&mut self, setpoint: f64) {
        let from = self.seen_setpoint();
        self.set(setpoint);
        self.happened("setpoint-step", Some((from, setpoint)));
    }

    /// The setpoint is keyed digit by digit.
    pub(super) fn key(&mut self, setpoint: f64) {
        let from = self.seen_setpoint();
        for part in [(setpoint / 100.0).floor(), (setpoint / 10.0).floor()] {
            self.set(part);
            let pause = self.dice.between(2.0, 9.0) + self.habit.period_s;
            self.wait(pause);
        }
        self.set(setpoint);
        self.happened("setpoint-step", Some((from, setpoint)));
    }

    /// A correction too small to be a step.
    pub(super) fn nudge(&mut self) {
        let setpoint =
            self.seen_setpoint() + self.dice.one_of(&[-1.0, 1.0]) * self.habit.resolution.max(0.5);
        self.set(setpoint);
        self.wait(45.0);
    }

    fn set(&mut self, setpoint: f64) {
        self.oven.controller.set_ramp(0.0).unwrap();
        self.oven.controller.set_setpoint(setpoint).unwrap();
    }

    /// The controller moves its working setpoint there, at so many degrees a minute.
    pub(super) fn ramp_to(&mut self, setpoint: f64, per_minute: f64) {
        let from = self.seen_setpoint();
        self.oven.controller.set_ramp(per_minute).unwrap();
        self.oven.controller.set_setpoint(setpoint).unwrap();
        self.happened("ramp", Some((from, setpoint)));
        // Where a ramp begins and ends must be seen; in between rows may be missing.
        self.protect_next(30.0);
        let until = self.now_s + 60.0 * (setpoint - from).abs() / per_minute + 60.0;
        self.wait_while(until, |oven| {
            (oven.controller.working_setpoint() - setpoint).abs() > 1e-9
        });
        self.protected.push((self.now_s - 90.0, self.now_s + 30.0));
        self.ended();
    }

    /// The controller tunes itself; `aborted` after so many of its switches on.
    pub(super) fn tune(&mut self, aborted: Option<usize>) {
        let began_s = self.now_s;
        let old = self.oven.controller.settings().tuning;
        self.oven.controller.start_autotune().unwrap();
        self.tell(
            "autotune-began",
            "the controller began to tune itself".to_owned(),
        );
        self.happened("autotune", None);
        let until = self.now_s + 4.0 * 3600.0 * self.habit.size;
        self.wait_while(until, |oven| {
            oven.controller.autotune() == AutotuneState::Active
                && aborted.is_none_or(|most| oven.controller.autotune_swings() < most)
        });
        self.oven.controller.abort_autotune();
        self.protected.push((began_s - 90.0, self.now_s + 90.0));
        self.tune_ended(old);
    }

    fn tune_ended(&mut self, old: Tuning) {
        self.ended();
        let new = self.oven.controller.settings().tuning;
        let word = if new == old {
            "autotune-unchanged"
        } else {
            "autotune-tuned"
        };
        self.tell(word, "the controller controls again".to_owned());
        if new != old {
            self.tell_tuning("autotune-ended", new);
        }
    }

    /// A tune in which the setpoint is moved and put back, on a controller that tunes on.
    pub(super) fn tune_with_a_step_inside(&mut self) {
        let old = self.oven.controller.settings().tuning;
        self.oven.controller.start_autotune().unwrap();
        self.tell(
            "autotune-began",
            "the controller began to tune itself".to_owned(),
        );
        let began_s = self.now_s;
        self.happened("autotune", None);
        let setpoint = self.oven.controller.settings().setpoint;
        for there in [setpoint + 15.0, setpoint] {
            self.wait(35.0);
            self.oven
                .controller
                .engineer(|settings| settings.setpoint = there);
        }
        let until = self.now_s + 4.0 * 3600.0 * self.habit.size;
        self.wait_while(until, |oven| {
            oven.controller.autotune() == AutotuneState::Active
        });
        self.oven.controller.abort_autotune();
        self.protected.push((began_s, self.now_s));
        self.tune_ended(old);
    }

    fn tell_tuning(&mut self, cause: &'static str, tuning: Tuning) {
        for (point, value) in [
            ("band", tuning.band),
            ("integral", tuning.integral_s),
            ("derivative", tuning.derivative_s),
        ] {
            self.tell(point, format!("{cause},{value:.1}"));
        }
    }

    /// Somebody sets other numbers.
    pub(super) fn retune(&mut self, tuning: Tuning) {
        self.oven.controller.set_tuning(tuning).unwrap();
        self.tell_tuning("changed", tuning);
        self.rest();
    }

    /// The output is taken in hand, moved, moved back, and given back.
    pub(super) fn by_hand(&mut self, by: f64) {
        let began_s = self.now_s;
        self.oven.controller.go_manual();
        self.tell("mode", "changed,1".to_owned());
        let kept = self.oven.controller.output();
        let quiet_s = 130.0 + 12.0 * self.habit.period_s;
        // The shell takes long to come to rest.
        let long = self.dice.one_of(&[4000.0, 20_000.0]);
        for output in [kept + by, kept] {
            self.wait(quiet_s);
            let output = (10.0 * output).round() / 10.0;
            self.oven.controller.set_manual_output(output).unwrap();
            self.happened("output-step", None);
            self.wait(400.0 + long * self.habit.size);
        }
        self.oven.controller.go_automatic();
        self.tell("mode", "changed,0".to_owned());
        self.protected.push((began_s - 60.0, self.now_s + 60.0));
        self.rest();
    }

    /// The door stands open for so long.
    pub(super) fn door(&mut self, seconds: f64) {
        let (began_s, first) = (self.now_s, self.rows.len());
        self.oven.plant.door_open = true;
        self.wait(seconds);
        self.oven.plant.door_open = false;
        self.wait(120.0 * self.habit.size);
        self.rest();
        self.protected.push((began_s - 20.0, self.now_s));
        let (band, noise) = (self.habit.band, self.habit.noise + self.habit.resolution);
        let beyond = |level: f64| {
            let found = (first..self.rows.len()).find(|i| self.deviations[*i].abs() > level);
            found.map(|i| self.rows[i].time_s)
        };
        let margin = 4.0 * noise;
        let certain = beyond(SURELY_OUT * band + margin).is_some();
        let Some(earliest) = beyond((SURELY_IN * band - margin).max(0.0)) else {
            return;
        };
        let latest = beyond(band + margin).unwrap_or(self.now_s);
        let row_s = 2.0 * self.habit.period_s;
        self.truth.push(Happened {
            kind: "disturbance",
            start_s: (earliest - row_s, latest + row_s),
            end_s: None,
            setpoints: None,
            certain,
        });
    }

    /// Wherever the true temperature was outside the band or near its edge, a disturbance may be found.
    pub(super) fn perhaps_disturbed(&mut self) {
        let margin = 4.0 * (self.habit.noise + self.habit.resolution);
        let edge = (SURELY_IN * self.habit.band - margin).max(0.0);
        let row_s = 2.0 * self.habit.period_s;
        let mut latest = f64::NEG_INFINITY;
        for (row, off) in self.rows.iter().zip(&self.deviations) {
            if off.abs() <= edge {
                continue;
            }
            if row.time_s - latest > row_s {
                self.truth.push(Happened {
                    kind: "disturbance",
                    start_s: (row.time_s - row_s, row.time_s),
                    end_s: None,
                    setpoints: None,
                    certain: false,
                });
            }
            latest = row.time_s;
            if let Some(last) = self.truth.last_mut() {
                last.start_s.1 = latest + row_s;
            }
        }
    }

    pub(super) fn mark(&mut self) {
        self.tell("mark", "tray turned".to_owned());
    }

    fn happened(&mut self, kind: &'static str, setpoints: Option<(f64, f64)>) {
        self.truth.push(Happened {
            kind,
            start_s: (self.now_s, self.now_s),
            end_s: None,
            setpoints: setpoints.map(|(from, to)| (thousandths(from), thousandths(to))),
            certain: true,
        });
    }

    /// What happened last is over now.
    fn ended(&mut self) {
        if let Some(last) = self.truth.last_mut() {
            last.end_s = Some((self.now_s, self.now_s));
        }
    }

    /// Whether the recording tells of modes and tunes.
    pub(super) fn tells(&self) -> bool {
        self.habit.form == Form::Recording
    }
}
