//! What the terminal's window is called.

use emberline::sample::Why;

use super::scene::{Scene, hold};

const SIZE: (u16, u16) = (80, 24);

#[test]
fn one_loop_gives_its_value_and_several_their_equipment() {
    let title = Scene::new(1, SIZE).poll(1, hold).app.title();
    assert_eq!(title, "510.0 degC annealer-top");
    let title = Scene::new(4, SIZE).poll(1, hold).app.title();
    assert_eq!(title, "Annealing oven 2");
}

#[test]
fn trouble_comes_first() {
    let lost = |loops| Scene::new(loops, SIZE).lose(5, Why::NoAnswer).app.title();
    assert_eq!(lost(1), "! ---- degC annealer-top");
    assert_eq!(lost(4), "! 4 in trouble: Annealing oven 2");
}
