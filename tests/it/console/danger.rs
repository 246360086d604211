//! What may hurt somebody stays on top until somebody has seen it.

use super::scene::{Scene, hold};

const BLIND: &str = "the sensor has failed while the output is on";
const SILENT: &str = "full output for 10 min, and the temperature does not rise";
const STUCK: &str = "no output for 10 min, and the temperature still rises";

fn scene() -> Scene {
    Scene::new(1, (80, 24))
}

#[test]
fn a_failed_sensor_while_heating_says_what_to_do_first() {
    let mut failed = scene().poll(60, hold).open_sensor(10, 510.0, 47.0);
    let text = failed.text();
    assert!(
        text.contains(BLIND) && text.contains("first: go to the oven"),
        "{text}"
    );
    assert!(failed.app.rings(), "the bell rings");
    assert!(!failed.app.rings(), "once");
}

#[test]
fn a_failed_sensor_without_output_is_no_such_danger() {
    let text = scene().poll(60, hold).open_sensor(60, 510.0, 0.0).text();
    assert!(!text.contains(BLIND), "{text}");
}

#[test]
fn it_stays_when_it_is_over_and_goes_when_acknowledged() {
    let over = || {
        scene()
            .poll(60, hold)
            .open_sensor(10, 510.0, 47.0)
            .poll(60, hold)
    };
    assert!(over().text().contains(BLIND));
    assert!(!over().types("a").text().contains(BLIND));
}

#[test]
fn acknowledged_while_it_lasts_it_does_not_come_back_until_it_happens_again() {
    let failed = scene()
        .poll(60, hold)
        .open_sensor(10, 510.0, 47.0)
        .types("a");
    let mut lasting = failed.open_sensor(30, 510.0, 47.0);
    assert!(!lasting.text().contains(BLIND));
    let mut again = lasting.poll(60, hold).open_sensor(10, 510.0, 47.0);
    assert!(again.text().contains(BLIND));
}

#[test]
fn full_output_must_show_within_ten_minutes() {
    let stuck_at_20 = |t: f64| [20.0 + 0.1 * (t / 7.0).sin(), 510.0, 100.0];
    assert!(!scene().poll(590, stuck_at_20).text().contains(SILENT));
    assert!(scene().poll(610, stuck_at_20).text().contains(SILENT));
    let heats = |t: f64| [20.0 + t / 60.0, 510.0, 100.0];
    assert!(!scene().poll(1800, heats).text().contains(SILENT));
}

#[test]
fn a_temperature_that_rises_without_output_is_a_stuck_relay_or_worse() {
    let rises = |t: f64| [500.0 + t / 100.0, 490.0, 0.0];
    assert!(!scene().poll(590, rises).text().contains(STUCK));
    assert!(scene().poll(610, rises).text().contains(STUCK));
    let cools = |t: f64| [500.0 - t / 100.0, 490.0, 0.0];
    assert!(!scene().poll(1800, cools).text().contains(STUCK));
}
