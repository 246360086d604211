//! The cursor reads what was recorded, to the digit.

use emberline::sample::{Happening, Why};
use ratatui::crossterm::event::KeyCode;

use super::scene::Scene;

/// One degree a second, so that every value tells its time.
fn ramp() -> Scene {
    Scene::new(1, (80, 24)).poll(120, |t| [t, 200.0, 50.0])
}

#[test]
fn the_cursor_begins_at_the_present() {
    let text = ramp().types("c").text();
    assert!(
        text.contains("06:01:59  119.0 degC   setpoint 200.0 (\u{2212}81.0)   output 50.0 %"),
        "{text}"
    );
}

#[test]
fn two_cursors_say_how_far_apart_they_are() {
    let moved = [KeyCode::Left; 4];
    let text = ramp()
        .types("c")
        .keys(&moved)
        .types("c")
        .keys(&moved)
        .text();
    // Three minutes are shown: each key moves by 1.5 s.
    assert!(text.contains("06:01:47  107.0 degC"), "{text}");
    assert!(
        text.contains("\u{2212}6.0, 6 s earlier than 06:01:53 (113.0)"),
        "{text}"
    );
}

#[test]
fn where_all_is_shown_there_is_nowhere_to_move() {
    let still = ramp().text();
    for key in [
        KeyCode::Left,
        KeyCode::PageUp,
        KeyCode::Home,
        KeyCode::Right,
    ] {
        assert_eq!(ramp().keys(&[key]).text(), still, "{key:?}");
    }
}

#[test]
fn where_nothing_was_read_the_cursor_says_so() {
    let text = ramp().lose(60, Why::NoAnswer).types("c").text();
    assert!(text.contains("06:02:59  ---- degC"), "{text}");
}

#[test]
fn brackets_jump_to_what_happened() {
    let marked = |scene: Scene| {
        scene
            .event(Happening::Mark, "door opened")
            .poll(60, |t| [120.0 + t, 200.0, 50.0])
    };
    let text = marked(ramp()).types("[").text();
    assert!(text.contains("06:02:00  120.0 degC"), "{text}");
    let text = marked(ramp()).types("[[]").text();
    assert!(text.contains("06:02:00  120.0 degC"), "{text}");
}

#[test]
fn escape_takes_the_cursor_away_and_f_follows_again() {
    let away = ramp().types("c").keys(&[KeyCode::Esc]).text();
    assert!(!away.contains("06:01:59"), "{away}");
    assert!(away.contains("the picture stands at"), "{away}");
    let followed = ramp().types("cf").text();
    assert!(!followed.contains("the picture stands at"), "{followed}");
}

#[test]
fn of_two_things_at_one_moment_the_cursor_tells_the_more_telling_one_first_and_whole() {
    let tuned = "tuned: band 28.0 -> 35.2 degC, integral 140 -> 523 s, derivative off -> 38 s";
    for width in [80, 120] {
        let text = Scene::new(1, (width, 24))
            .poll(120, |t| [t, 200.0, 50.0])
            .event(Happening::SettingsChanged, "autotune 1 -> 0")
            .event(Happening::AutotuneTuned, tuned)
            .poll(60, |t| [120.0 + t, 200.0, 50.0])
            .types("[")
            .text();
        let told = text
            .lines()
            .find(|line| line.starts_with(" 06:02:00 tuned"));
        // At 80 columns only its last letters may be missing.
        let seen = told.unwrap().replace("→", "->");
        assert!(seen.contains(&tuned[..65]), "{text}");
        assert_eq!(seen.contains(tuned), width == 120, "{text}");
    }
}

#[test]
fn in_a_grid_the_tiles_show_the_values_at_the_cursor() {
    let moved = [KeyCode::Left; 4];
    let scene = || Scene::new(2, (160, 24)).poll(120, |t| [t, 200.0, 50.0]);
    let text = scene().types("c").keys(&moved).text();
    assert!(text.contains("at 06:01:53"), "{text}");
    assert!(
        text.contains("113.0 degC → 200.0    \u{2212}87.0"),
        "{text}"
    );
    let text = scene()
        .types("c")
        .keys(&moved)
        .types("c")
        .keys(&moved)
        .text();
    assert!(text.contains("at 06:01:47: \u{2212}6.0 in 6 s"), "{text}");
}

/// Twenty minutes with a peak of 100.0 at 605 s, which no step of ten seconds meets by itself.
fn peak() -> Scene {
    Scene::new(1, (80, 24)).poll(1200, |t| [100.0 - (t - 605.0).abs() / 10.0, 90.0, 50.0])
}

#[test]
fn a_cursor_that_passes_over_a_peak_stands_on_it() {
    let mut scene = peak().types("c");
    let mut seen = Vec::new();
    for _ in 0..80 {
        scene = scene.keys(&[KeyCode::Left]);
        seen.push(scene.text());
    }
    let on_it = "06:10:05  100.0 degC   setpoint 90.0 (+10.0)";
    assert_eq!(seen.iter().filter(|text| text.contains(on_it)).count(), 1);
}

#[test]
fn zooming_keeps_the_cursor_where_it_is() {
    let moved = [KeyCode::Left; 60];
    for zoomed in ["", "+", "+++", "+++--", "-"] {
        let text = peak().types("c").keys(&moved).types(zoomed).text();
        assert!(text.contains("06:10:05"), "{text}");
        let plot = text.lines().skip(7).take(10);
        let has_cursor = |line: &str| line.chars().skip(10).any(|c| c == '│');
        assert!(plot.clone().any(has_cursor), "{zoomed}\n{text}");
    }
}
