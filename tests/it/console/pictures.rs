//! What the screen looks like: situations that `everywhere` does not have.

use emberline::console::{Depth, Look, Story};
use emberline::sample::{Happening, Why};
use ratatui::buffer::Cell;
use ratatui::crossterm::event::KeyCode;
use ratatui::style::{Color, Modifier};

use super::scene::{Scene, hold, step, swing};

const SMALL: (u16, u16) = (80, 24);
const MIDDLE: (u16, u16) = (120, 40);
const LARGE: (u16, u16) = (160, 50);
const HUGE: (u16, u16) = (200, 60);

macro_rules! picture {
    ($name:literal, $scene:expr) => {
        insta::assert_snapshot!($name, $scene.drawn().backend())
    };
}

fn after_a_step(size: (u16, u16)) -> Scene {
    Scene::new(1, size)
        .event(Happening::RecordingBegan, "recording began")
        .poll(300, step)
        .event(Happening::SetpointChanged, "setpoint 490.0 -> 510.0")
        .poll(2000, |t| step(t + 300.0))
        .event(Happening::Mark, "load in")
        .poll(400, |t| step(t + 2300.0))
        .health(&[(2700, &[])])
}

#[test]
fn in_band() {
    picture!("in_band_large", Scene::new(1, LARGE).poll(2470, hold));
}

#[test]
fn after_a_step_of_the_setpoint() {
    picture!("step", after_a_step(SMALL));
    picture!("step_middle", after_a_step(MIDDLE));
    picture!("step_large", after_a_step(LARGE));
}

#[test]
fn an_autotune_under_way() {
    let tuning = |size| {
        Scene::new(1, size)
            .poll(300, hold)
            .event(Happening::AutotuneBegan, "autotune began")
            .tune(760, swing)
    };
    picture!("autotune_large", tuning(LARGE));
}

#[test]
fn a_lost_port_leaves_a_gap_and_how_long_ago() {
    let lost = |size| {
        Scene::new(1, size)
            .poll(400, hold)
            .lose(30, Why::NoAnswer)
            .poll(100, hold)
            .event(Happening::PortLost, "port lost")
            .lose(47, Why::PortLost)
    };
    picture!("port_lost", lost(SMALL));
    picture!("port_lost_middle", lost(MIDDLE));
}

#[test]
fn a_time_in_band_does_not_run_on_over_a_gap() {
    let lost = |seconds| {
        let scene = Scene::new(1, SMALL).poll(400, hold);
        scene.lose(seconds, Why::PortLost).poll(20, hold).text()
    };
    assert!(lost(3).contains("in band for 00:07:02"), "{}", lost(3));
    assert!(lost(4).contains("in band for 00:00:19"), "{}", lost(4));
}

#[test]
fn four_loops_side_by_side() {
    let four = |size| Scene::new(4, size).poll(1500, step);
    picture!("four_loops", four(SMALL));
    picture!("four_loops_middle", four(MIDDLE));
    picture!("four_loops_large", four(LARGE));
    picture!("four_loops_huge", four(HUGE));
}

#[test]
fn paused_and_moved_back() {
    let keys = [KeyCode::Char(' '), KeyCode::Char('+'), KeyCode::Left];
    picture!("paused", after_a_step(SMALL).keys(&keys));
}

#[test]
fn zoomed_in_value_about_the_setpoint_with_arrows_for_what_is_outside() {
    picture!("value_zoom", after_a_step(SMALL).types("vv"));
    let plain = after_a_step(SMALL).text();
    assert_eq!(after_a_step(SMALL).types("vvV0").text(), plain);
    let wider = after_a_step(SMALL).types("V").text();
    assert!(wider != plain && !wider.contains(['▴', '▾']), "{wider}");
}

#[test]
fn two_cursors_and_the_difference_between_them() {
    let left = [KeyCode::Left; 30];
    let mut scene = after_a_step(SMALL)
        .types("c")
        .keys(&left)
        .types("c")
        .keys(&left);
    picture!("cursors", scene);
}

#[test]
fn help_explains_every_key() {
    picture!("help", after_a_step(SMALL).types("?"));
}

#[test]
fn a_mark_being_typed() {
    picture!("mark", after_a_step(SMALL).types("mdoor opened"));
}

#[test]
fn quitting_asks_where_it_would_stop_a_recording() {
    picture!("quit", after_a_step(SMALL).types("q"));
}

#[test]
fn a_story_is_told_along() {
    let mut scene = after_a_step(SMALL);
    scene.app.on_story(Story {
        caption: "The oven holds 490. Its tuning was left over from another oven: watch what it \
                  does with a step of 20 degrees."
            .to_owned(),
        next: Some("step the setpoint to 510".to_owned()),
    });
    picture!("story", scene);
}

#[test]
fn ascii_only_where_nothing_else_can_be_shown() {
    let look = Look::of(Depth::None, true);
    let mut scene = Scene::with_look(1, SMALL, look).poll(900, step);
    let drawn = scene.drawn();
    let strange = |cell: &&Cell| !cell.symbol().is_ascii();
    let found = drawn.backend().buffer().content().iter().find(strange);
    assert_eq!(found.map(|cell| cell.symbol().to_owned()), None);
    picture!("ascii", scene);
}

#[test]
fn the_process_value_is_sky_blue_and_the_setpoint_orange() {
    let drawn = after_a_step(SMALL).drawn();
    let colour_of = |text: &str| colour_of(drawn.backend(), text);
    assert_eq!(colour_of("off by"), Color::Rgb(0x8A, 0x8A, 0x8A));
    assert_eq!(colour_of("510.0 "), Color::Rgb(0xE6, 0x9F, 0x00));
    assert_eq!(colour_of("▄"), Color::Rgb(0x56, 0xB4, 0xE9));
    assert_eq!(colour_of("load in"), Color::Rgb(0xCC, 0x79, 0xA7));
}

#[test]
fn trouble_is_vermilion_and_bold_and_reversed_without_colour() {
    let broken = |look| {
        Scene::with_look(1, SMALL, look)
            .poll(9, hold)
            .lose(9, Why::NoAnswer)
    };
    let drawn = broken(Look::of(Depth::True, false)).drawn();
    assert_eq!(
        colour_of(drawn.backend(), "no answer for"),
        Color::Rgb(0xD5, 0x5E, 0x00)
    );
    let drawn = broken(Look::of(Depth::None, false)).drawn();
    let cells = drawn.backend().buffer().content();
    assert!(
        cells
            .iter()
            .all(|cell| (cell.fg, cell.bg) == (Color::Reset, Color::Reset))
    );
    assert!(
        cells
            .iter()
            .any(|cell| cell.modifier.contains(Modifier::REVERSED))
    );
}

/// The colour of the first cell of a text.
fn colour_of(backend: &ratatui::backend::TestBackend, text: &str) -> Color {
    let buffer = backend.buffer();
    let width = usize::from(buffer.area.width);
    let mut rows = buffer.content().chunks(width);
    let found = rows.find_map(|row| {
        let line: Vec<&str> = row.iter().map(Cell::symbol).collect();
        let x = (0..width).find(|x| line[*x..].concat().starts_with(text));
        x.map(|x| row[x].fg)
    });
    found.unwrap()
}
