//! Whatever is pressed, in whatever window: nothing breaks, and `q` always leads out.

use emberline::console::Ask;
use proptest::prelude::*;
use ratatui::Terminal;
use ratatui::backend::TestBackend;
use ratatui::crossterm::event::{
    KeyCode, KeyEvent, KeyEventKind, KeyModifiers, MouseButton, MouseEvent, MouseEventKind,
};
use ratatui::layout::Size;

use super::scene::{Scene, hold, step};

#[derive(Clone, Debug)]
enum Act {
    Key(KeyEvent),
    Mouse(MouseEvent),
    Resize(u16, u16),
}

fn some_key() -> impl Strategy<Value = KeyCode> {
    let named = prop::sample::select(vec![
        KeyCode::Esc,
        KeyCode::Enter,
        KeyCode::Tab,
        KeyCode::BackTab,
        KeyCode::Backspace,
        KeyCode::Left,
        KeyCode::Right,
        KeyCode::Up,
        KeyCode::Down,
        KeyCode::Home,
        KeyCode::End,
        KeyCode::PageUp,
        KeyCode::PageDown,
        KeyCode::F(1),
    ]);
    prop_oneof![
        3 => prop::char::range(' ', '~').prop_map(KeyCode::Char),
        1 => any::<char>().prop_map(KeyCode::Char),
        3 => named,
    ]
}

fn some_mouse() -> impl Strategy<Value = MouseEvent> {
    let kind = prop::sample::select(vec![
        MouseEventKind::Down(MouseButton::Left),
        MouseEventKind::Drag(MouseButton::Left),
        MouseEventKind::Up(MouseButton::Left),
        MouseEventKind::ScrollUp,
        MouseEventKind::ScrollDown,
    ]);
    (kind, 0_u16..220, 0_u16..90).prop_map(|(kind, column, row)| MouseEvent {
        kind,
        column,
        row,
        modifiers: KeyModifiers::NONE,
    })
}

fn some_act() -> impl Strategy<Value = Act> {
    let modifiers = prop::sample::select(vec![
        KeyModifiers::NONE,
        KeyModifiers::NONE,
        KeyModifiers::SHIFT,
        KeyModifiers::CONTROL,
    ]);
    prop_oneof![
        6 => (some_key(), modifiers).prop_map(|(code, with)| Act::Key(KeyEvent::new(code, with))),
        1 => (0_u16..200, 0_u16..80).prop_map(|(width, height)| Act::Resize(width, height)),
        2 => some_mouse().prop_map(Act::Mouse),
    ]
}

proptest! {
    #![proptest_config(ProptestConfig::with_cases(48))]

    #[test]
    fn no_keys_and_no_window_break_the_screen_and_one_can_always_quit(
        loops in prop::sample::select(vec![0_usize, 1, 3, 6]),
        acts in prop::collection::vec(some_act(), 0..40),
    ) {
        let mut app = Scene::new(loops, (80, 24)).poll(400, step).app;
        let mut terminal = Terminal::new(TestBackend::new(80, 24)).unwrap();
        for act in acts {
            match act {
                Act::Key(key) => { app.on_key(key); }
                Act::Mouse(event) => { app.on_mouse(event); }
                Act::Resize(width, height) => {
                    terminal.backend_mut().resize(width, height);
                    app.on_resize(Size::new(width, height));
                }
            }
            terminal.draw(|frame| app.draw(frame)).unwrap();
        }
        for code in [KeyCode::Esc, KeyCode::Char('q'), KeyCode::Char('y')] {
            app.on_key(KeyEvent::new(code, KeyModifiers::NONE));
        }
        prop_assert!(app.has_quit());
    }
}

#[test]
fn q_asks_first_while_this_program_records_and_no_means_no() {
    let scene = Scene::new(1, (80, 24)).poll(5, hold).types("q");
    assert!(!scene.app.has_quit());
    assert!(!Scene::new(1, (80, 24)).types("qn").app.has_quit());
    assert!(scene.types("y").app.has_quit());
}

#[test]
fn the_screen_is_suspended_but_never_a_recording() {
    let ctrl_z = KeyEvent::new(KeyCode::Char('z'), KeyModifiers::CONTROL);
    let mut recording = Scene::new(1, (80, 24)).poll(5, hold);
    recording.app.on_key(ctrl_z);
    assert!(!recording.app.takes_suspend());
    let text = recording.text();
    assert!(text.contains("would stop the recording"), "{text}");
    let mut looking = Scene::not_recording((80, 24)).poll(5, hold);
    looking.app.on_key(ctrl_z);
    assert!(looking.app.takes_suspend());
    assert!(!looking.app.takes_suspend(), "once for each key");
}

#[test]
fn a_q_in_a_mark_is_a_letter() {
    let mut scene = Scene::new(1, (80, 24)).types("mq y");
    let ask = scene
        .app
        .on_key(KeyEvent::new(KeyCode::Enter, KeyModifiers::NONE));
    assert_eq!(ask, Some(Ask::Mark("q y".to_owned())));
    assert!(!scene.app.has_quit());
}

#[test]
fn a_key_that_is_let_go_does_nothing() {
    let mut app = Scene::new(1, (80, 24)).app;
    for _ in 0..2 {
        let mut key = KeyEvent::new(KeyCode::Char('q'), KeyModifiers::NONE);
        key.kind = KeyEventKind::Release;
        app.on_key(key);
    }
    app.on_key(KeyEvent::new(KeyCode::Char('y'), KeyModifiers::NONE));
    assert!(!app.has_quit());
}
