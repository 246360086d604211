//! How well the lines answer, and what to check about them.

use emberline::sample::Why;

use super::scene::{Scene, hold};

const SMALL: (u16, u16) = (80, 24);
const LARGE: (u16, u16) = (160, 50);

/// The last row of the screen.
fn footer(mut scene: Scene) -> String {
    scene.text().lines().last().unwrap().trim_end().to_owned()
}

fn two_thousand_polls(loops: usize, size: (u16, u16)) -> Scene {
    let told: [(u64, &[(Why, u64)]); 4] = [(4000, &[]); 4];
    Scene::new(loops, size)
        .poll(2000, hold)
        .health(&told[..loops])
}

#[test]
fn the_strip_says_line_answer_time_and_losses_beside_the_keys() {
    let found = footer(two_thousand_polls(1, SMALL));
    let strip = " shop 9600 8E1   26 ms  0 lost of 2\u{202f}000";
    assert!(found.starts_with(strip), "{found}");
    assert!(found.ends_with("q quit"), "{found}");
}

#[test]
fn a_wider_strip_says_more() {
    let found = footer(two_thousand_polls(1, LARGE));
    let strip = " shop 9600 8E1   26 ms, 95 % within 31 ms  0 lost of 2\u{202f}000  \
                 longest silence 7 s  line 6 % in use";
    assert!(found.starts_with(strip), "{found}");
}

#[test]
fn the_loops_of_a_line_are_added_up_unless_one_is_shown_alone() {
    let found = footer(two_thousand_polls(4, LARGE));
    assert!(found.contains("0 lost of 8\u{202f}000"), "{found}");
    assert!(found.contains("line 24 % in use"), "{found}");
    let alone = two_thousand_polls(4, LARGE).keys(&[ratatui::crossterm::event::KeyCode::Enter]);
    let found = footer(alone);
    assert!(found.contains("0 lost of 2\u{202f}000"), "{found}");
    assert!(found.contains("line 24 % in use"), "{found}");
}

#[test]
fn lost_polls_come_with_their_reasons_most_frequent_first() {
    let scene = two_thousand_polls(1, LARGE)
        .lose(3, Why::Damaged)
        .lose(9, Why::NoAnswer)
        .lose(1, Why::Damaged)
        .open_sensor(5, 510.0, 47.0);
    let found = footer(scene);
    let wanted = "13 lost of 2\u{202f}018: 9 no answer, 4 damaged";
    assert!(found.contains(wanted), "{found}");
    let found = footer(two_thousand_polls(1, LARGE).lose(3, Why::Damaged));
    assert!(found.contains("3 lost of 2\u{202f}003: damaged"), "{found}");
}

#[test]
fn what_to_check_is_shown_while_a_pattern_holds() {
    let silent: &[(Why, u64)] = &[(Why::NoAnswer, 20)];
    let both = [(0, silent), (0, silent)];
    let mut scene = Scene::new(2, SMALL).lose(60, Why::NoAnswer).health(&both);
    let text = scene.text();
    assert!(
        text.contains("shop 9600 8E1: nothing at all comes from any unit"),
        "{text}"
    );
    assert!(text.contains("first: supply, A/B wires"), "{text}");

    let mut scene = scene.poll(30, hold).health(&[(30, silent), (0, silent)]);
    let text = scene.text();
    assert!(!text.contains("from any unit"), "{text}");
    assert!(
        text.contains("annealer-base: nothing at all comes"),
        "{text}"
    );

    let mut scene = scene.poll(30, hold).health(&[(60, silent), (30, silent)]);
    let text = scene.text();
    assert!(!text.contains("first:"), "{text}");
}
