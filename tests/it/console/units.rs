//! One unit of temperature on the screen, whatever the controller is switched to.

use emberline::unit::Degrees;

use super::scene::{Scene, hold};

const SIZE: (u16, u16) = (80, 24);

/// The same oven, in degF.
fn hold_in_fahrenheit(t: f64) -> [f64; 3] {
    let [pv, setpoint, output] = hold(t);
    [pv * 1.8 + 32.0, setpoint * 1.8 + 32.0, output]
}

#[test]
fn a_controller_that_is_switched_goes_on_in_the_unit_the_screen_began_with() {
    let unswitched = Scene::new(1, SIZE).poll(600, hold).text();
    let mut scene = Scene::new(1, SIZE).poll(300, hold).switched_to("degF");
    scene = scene.poll(300, |t| hold_in_fahrenheit(300.0 + t));
    assert_eq!(scene.text(), unswitched);
}

#[test]
fn another_unit_can_be_asked_for_and_the_band_follows_it() {
    let mut scene = Scene::in_degrees(SIZE, Degrees::Fahrenheit).poll(60, |_| [510.0, 510.0, 40.0]);
    assert_eq!(scene.app.title(), "950.0 degF annealer-top");
    // 3.5 degF off are inside the band of 2 degC, 4 degF outside.
    scene = scene.poll(60, |_| [510.0 + 3.5 / 1.8, 510.0, 40.0]);
    assert!(scene.text().contains("in band"), "{}", scene.text());
    scene = scene.poll(60, |_| [513.0, 510.0, 40.0]);
    assert!(!scene.text().contains("in band for"), "{}", scene.text());
}
