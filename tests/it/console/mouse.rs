//! The mouse does what keys do, where it points.

use emberline::console::Ask;
use ratatui::crossterm::event::{KeyModifiers, MouseButton, MouseEvent, MouseEventKind};

use super::scene::{Scene, hold};

/// One degree a second for two minutes: three minutes fill the picture.
fn ramp() -> Scene {
    let mut scene = Scene::new(1, (80, 24)).poll(120, |t| [t, 200.0, 50.0]);
    scene.text();
    scene
}

fn mouse(mut scene: Scene, kind: MouseEventKind, column: u16, row: u16) -> Scene {
    scene.app.on_mouse(MouseEvent {
        kind,
        column,
        row,
        modifiers: KeyModifiers::NONE,
    });
    scene.text();
    scene
}

const DOWN: MouseEventKind = MouseEventKind::Down(MouseButton::Left);
const DRAG: MouseEventKind = MouseEventKind::Drag(MouseButton::Left);

/// The value the cursor reads: in the ramp it tells its second.
fn read(scene: &mut Scene) -> f64 {
    let text = scene.text();
    let before = text.rsplit(" degC   setpoint").nth(1).unwrap();
    before
        .split_whitespace()
        .next_back()
        .unwrap()
        .parse()
        .unwrap()
}

#[test]
fn a_click_on_the_trend_puts_the_cursor_under_the_mouse() {
    // 73 cells for 180 s: cell 30 is in the middle of 2.466 s that begin at 73.97 s.
    let mut clicked = mouse(ramp(), DOWN, 7 + 30, 12);
    let value = read(&mut clicked);
    assert!(
        (74.0..=76.5).contains(&value),
        "{value}\n{}",
        clicked.text()
    );
}

#[test]
fn dragging_on_measures_the_difference() {
    let mut dragged = mouse(mouse(ramp(), DOWN, 7 + 30, 12), DRAG, 7 + 10, 14);
    let value = read(&mut dragged);
    assert!((24.0..=27.0).contains(&value), "{}", dragged.text());
    // Twenty cells are 49.3 s.
    let text = dragged.text();
    assert!(text.contains("49 s earlier"), "{text}");
}

#[test]
fn the_wheel_zooms_time_on_the_curves_and_values_on_their_labels() {
    let mut scene = ramp();
    let before = scene.text();
    let mut shorter = mouse(scene, MouseEventKind::ScrollUp, 40, 12);
    let after = shorter.text();
    assert_ne!(before, after);
    let keyed = ramp().types("+").text();
    assert_eq!(after, keyed);
    let mut narrower = mouse(ramp(), MouseEventKind::ScrollUp, 2, 12);
    assert_eq!(narrower.text(), ramp().types("v").text());
}

#[test]
fn under_a_standing_picture_the_wheel_keeps_the_moment_it_points_at() {
    let scene = Scene::new(1, (80, 24)).poll(1200, |t| [t, 2000.0, 50.0]);
    let mut scene = mouse(scene, MouseEventKind::ScrollDown, 40, 3);
    scene.text();
    let mut clicked = mouse(scene, DOWN, 7 + 40, 12);
    let before = read(&mut clicked);
    let zoomed = mouse(clicked, MouseEventKind::ScrollUp, 7 + 40, 12);
    let mut again = mouse(zoomed, DOWN, 7 + 40, 12);
    let after = read(&mut again);
    // The picture moves on by four cells at a time: so far it may be off.
    assert!((before - after).abs() < 70.0, "{before} {after}");
}

#[test]
fn a_click_selects_a_loop_and_another_opens_it() {
    let mut scene = Scene::new(6, (100, 30)).poll(60, hold);
    let text = scene.text();
    let row = |text: &str, name: &str| text.lines().position(|line| line.contains(name)).unwrap();
    let third = text
        .lines()
        .nth(4)
        .unwrap()
        .split_whitespace()
        .next()
        .unwrap()
        .to_owned();
    let y = row(&text, &third) as u16;
    let mut selected = mouse(scene, DOWN, 5, y);
    let marked = selected
        .text()
        .lines()
        .nth(usize::from(y))
        .unwrap()
        .to_owned();
    assert!(marked.contains('▸') && marked.contains(&third), "{marked}");
    let mut opened = mouse(selected, DOWN, 5, y);
    let text = opened.text();
    assert!(text.contains(&third) && !text.contains('▸'), "{text}");
}

#[test]
fn what_is_open_keeps_the_keys_and_the_mouse_waits() {
    let mut asked = mouse(ramp().types("m"), DOWN, 40, 12).types("door");
    assert!(asked.text().contains("door"), "{}", asked.text());
    let ask = asked.app.on_key(ratatui::crossterm::event::KeyEvent::new(
        ratatui::crossterm::event::KeyCode::Enter,
        KeyModifiers::NONE,
    ));
    assert_eq!(ask, Some(Ask::Mark("door".to_owned())));
}
