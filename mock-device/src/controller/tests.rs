//! The controller as a whole, on a reading that the test gives.

use super::*;

const DT: f64 = 0.5;

fn controller() -> Controller {
    let settings = Settings::as_delivered(Tuning::new(20.0, 300.0, 40.0), 500.0);
    Controller::new(settings, 500.0, 40.0)
}

#[test]
fn going_manual_and_back_leaves_the_output_where_it_was() {
    let mut c = controller();
    (0..20).for_each(|_| {
        c.scan(Some(499.0), DT);
    });
    let before = c.output();
    c.go_manual();
    c.scan(Some(499.0), DT);
    assert!((c.output() - before).abs() < 1e-12);
    c.set_manual_output(55.0).unwrap();
    c.scan(Some(498.0), DT);
    assert!((c.output() - 55.0).abs() < 1e-12);
    c.go_automatic();
    c.scan(Some(498.0), DT);
    assert!((c.output() - 55.0).abs() < 0.1);
}

#[test]
fn new_tuning_does_not_bump_the_output() {
    let mut c = controller();
    (0..20).for_each(|_| {
        c.scan(Some(495.0), DT);
    });
    let before = c.output();
    c.set_tuning(Tuning::new(80.0, 600.0, 0.0)).unwrap();
    c.scan(Some(495.0), DT);
    assert!((c.output() - before).abs() < 0.1);
}

#[test]
fn a_broken_sensor_takes_the_output_to_its_safe_value_and_raises_the_alarm() {
    let mut c = controller();
    c.scan(Some(500.0), DT);
    c.scan(None, DT);
    assert!(c.output().abs() < 1e-12 && c.is_alarm() && c.pv().is_none());
    c.scan(Some(500.0), DT);
    assert!(c.output() > 30.0 && !c.is_alarm());
}

#[test]
fn a_sensor_that_breaks_ends_the_autotune_and_keeps_the_tuning() {
    let mut c = controller();
    let tuning = c.settings().tuning;
    c.start_autotune().unwrap();
    c.scan(Some(499.0), DT);
    assert_eq!(c.autotune(), AutotuneState::Active);
    c.scan(None, DT);
    assert_eq!(c.autotune(), AutotuneState::Failed);
    assert_eq!(c.settings().tuning, tuning);
}

#[test]
fn an_aborted_autotune_keeps_the_tuning_and_the_output_goes_on_without_a_bump() {
    let mut c = controller();
    let tuning = c.settings().tuning;
    c.start_autotune().unwrap();
    c.scan(Some(499.0), DT);
    assert!((c.output() - 100.0).abs() < 1e-12);
    c.abort_autotune();
    assert_eq!(c.autotune(), AutotuneState::Aborted);
    assert_eq!(c.settings().tuning, tuning);
}

#[test]
fn a_new_setpoint_aborts_an_autotune() {
    let mut c = controller();
    c.start_autotune().unwrap();
    c.set_setpoint(510.0).unwrap();
    assert_eq!(c.autotune(), AutotuneState::Aborted);
}

#[test]
fn no_autotune_in_manual_or_without_a_sensor() {
    let mut c = controller();
    c.go_manual();
    assert!(c.start_autotune().is_err());
    c.go_automatic();
    c.scan(None, DT);
    assert!(c.start_autotune().is_err());
}

#[test]
fn the_working_setpoint_moves_at_the_ramp_rate() {
    let mut c = controller();
    c.set_ramp(6.0).unwrap();
    c.set_setpoint(510.0).unwrap();
    (0..100).for_each(|_| {
        c.scan(Some(500.0), DT);
    });
    assert!((c.working_setpoint() - 505.0).abs() < 1e-9);
    (0..200).for_each(|_| {
        c.scan(Some(500.0), DT);
    });
    assert!((c.working_setpoint() - 510.0).abs() < 1e-9);
}

#[test]
fn values_outside_their_limits_are_refused_and_change_nothing() {
    let mut c = controller();
    let before = c.settings().clone();
    assert!(c.set_setpoint(600.1).is_err());
    assert!(c.set_setpoint(f64::NAN).is_err());
    assert!(c.set_tuning(Tuning::new(0.0, 1.0, 1.0)).is_err());
    assert!(c.set_cycle_time(0.0).is_err());
    assert!(c.set_output_limits((60.0, 50.0)).is_err());
    assert!(c.set_setpoint_limits((300.0, 200.0)).is_err());
    assert!(c.set_manual_output(10.0).is_err());
    assert_eq!(c.settings(), &before);
}

#[test]
fn a_refusal_says_what_was_asked_and_what_is_allowed() {
    let refused = controller().set_setpoint(900.0).unwrap_err();
    assert_eq!(refused.to_string(), "setpoint 900 is outside 0 to 600");
}

#[test]
fn the_alarm_comes_above_its_threshold_and_goes_a_degree_below_it() {
    let mut c = controller();
    let mut alarm_at = |pv: f64| {
        c.scan(Some(pv), DT);
        c.is_alarm()
    };
    assert!(!alarm_at(560.0));
    assert!(alarm_at(560.1));
    assert!(alarm_at(559.2));
    assert!(!alarm_at(558.9));
}
