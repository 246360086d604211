//! Every situation in every size of window, and in every depth of colour.

use std::fmt::Write as _;

use emberline::console::{Background, Depth, Look};
use emberline::sample::{Happening, Why};
use ratatui::buffer::Cell;
use ratatui::crossterm::event::KeyCode;
use ratatui::style::Style;

use super::scene::{Scene, hold, step, swing};

const SIZES: [(u16, u16); 4] = [(60, 16), (80, 24), (120, 40), (200, 60)];
const DEPTHS: [(&str, Depth, Background); 6] = [
    ("true", Depth::True, Background::Dark),
    ("256", Depth::Indexed, Background::Dark),
    ("16", Depth::Sixteen, Background::Dark),
    ("none", Depth::None, Background::Dark),
    ("true_light", Depth::True, Background::Light),
    ("16_light", Depth::Sixteen, Background::Light),
];

const TUNED: &str = "tuned: band 28.0 -> 35.2 degC, integral 140 -> 523 s, derivative off -> 38 s";

/// What a loop can be in, by name.
type Situation = (&'static str, fn(Scene) -> Scene, usize);

const SITUATIONS: [Situation; 10] = [
    ("start", |scene| scene, 1),
    ("waiting", |scene| scene.lose(12, Why::NoAnswer), 1),
    ("in_band", |scene| scene.poll(2470, hold), 1),
    (
        "autotune",
        |scene| {
            scene
                .poll(300, hold)
                .event(Happening::AutotuneBegan, "autotune began")
                .tune(760, swing)
        },
        1,
    ),
    (
        "tuned",
        |scene| {
            scene
                .poll(300, hold)
                .event(Happening::AutotuneBegan, "autotune began")
                .tune(760, swing)
                .event(Happening::AutotuneTuned, TUNED)
                .poll(300, hold)
                .event(Happening::Mark, "door opened")
                .poll(1, hold)
                .event(Happening::Mark, "load in")
                .poll(60, hold)
                .event(Happening::Settled, "settled: in band for 5 min")
                .poll(60, hold)
        },
        1,
    ),
    (
        "four_loops_with_cursor",
        |scene| scene.poll(700, step).types("c").keys(&[KeyCode::Left; 5]),
        4,
    ),
    (
        "fault",
        |scene| {
            scene
                .poll(300, hold)
                .event(Happening::FaultBegan, "sensor open")
                .open_sensor(40, 510.0, 47.0)
        },
        1,
    ),
    (
        "port_lost",
        |scene| {
            scene
                .poll(600, hold)
                .event(Happening::PortLost, "the port is gone")
                .lose(75, Why::PortLost)
        },
        1,
    ),
    ("forty_loops", |scene| scene.poll(700, step), 40),
    (
        "paused_with_cursor",
        |scene| scene.poll(1700, step).types("c").keys(&[KeyCode::Left; 9]),
        1,
    ),
];

#[test]
fn every_situation_in_every_size() {
    for (width, height) in SIZES {
        for (name, situation, loops) in SITUATIONS {
            let mut scene = situation(Scene::new(loops, (width, height)));
            insta::assert_snapshot!(format!("{name}_{width}x{height}"), scene.drawn().backend());
        }
    }
}

#[test]
fn every_situation_in_every_depth_of_colour() {
    for (depth_name, depth, background) in DEPTHS {
        let look = Look::of(depth, false).on(background);
        let mut painted = Painted::default();
        for (name, situation, loops) in SITUATIONS {
            let mut scene = situation(Scene::with_look(loops, (80, 24), look));
            painted.add(name, &mut scene);
        }
        insta::assert_snapshot!(format!("colours_{depth_name}"), painted.text());
    }
}

#[test]
fn a_window_made_very_small_still_shows_the_value_and_grows_again() {
    for (name, situation, loops) in SITUATIONS {
        let mut scene = situation(Scene::new(loops, (80, 24)));
        let before = scene.text();
        let mut small = scene.resized((20, 5));
        let text = small.text();
        assert!(text.contains("enlarge to 60x16"), "{name}\n{text}");
        assert!(text.contains("degC"), "{name}\n{text}");
        let mut again = small.resized((80, 24));
        assert_eq!(again.text(), before, "{name}");
    }
    let mut scene = Scene::new(1, (80, 24)).poll(60, hold).resized((20, 5));
    insta::assert_snapshot!("resized_20x5", scene.drawn().backend());
}

#[test]
fn of_many_loops_the_worst_is_shown_first_and_the_keys_go_down_the_list() {
    let first_row = |scene: &mut Scene| {
        let text = scene.text();
        text.lines().nth(2).unwrap().to_owned()
    };
    let mut scene = Scene::new(40, (80, 24)).poll(700, step);
    let top = first_row(&mut scene);
    assert!(top.starts_with('▸') || top.starts_with(" ▸"), "{top}");
    assert!(top.contains("zone-39"), "{top}");
    let mut moved = scene.keys(&[KeyCode::Down]);
    let text = moved.text();
    let selected = text.lines().find(|line| line.contains('▸')).unwrap();
    assert!(selected.contains("zone-38"), "{selected}");
}

/// Pictures of which only the styles are told: a letter for each, `.` for none and for blanks.
#[derive(Default)]
struct Painted {
    styles: Vec<Style>,
    pictures: String,
}

impl Painted {
    fn add(&mut self, name: &str, scene: &mut Scene) {
        writeln!(self.pictures, "{name}").unwrap();
        let drawn = scene.drawn();
        let buffer = drawn.backend().buffer();
        for row in buffer.content().chunks(usize::from(buffer.area.width)) {
            let letters: String = row.iter().map(|cell| self.letter(cell)).collect();
            writeln!(self.pictures, "{}", letters.trim_end_matches('.')).unwrap();
        }
    }

    fn letter(&mut self, cell: &Cell) -> char {
        let style = cell.style();
        let blank = Cell::EMPTY.style();
        // A blank shows its background and its line alone, not its colour.
        let is_unseen = cell.symbol() == " " && style.fg(blank.fg.unwrap()) == blank;
        if style == blank || is_unseen {
            return '.';
        }
        let known = self.styles.iter().position(|it| *it == style);
        let index = known.unwrap_or_else(|| {
            self.styles.push(style);
            self.styles.len() - 1
        });
        char::from(b'a' + index as u8)
    }

    fn text(&self) -> String {
        let mut text = String::new();
        for (letter, style) in ('a'..).zip(&self.styles) {
            let (fg, bg) = (style.fg.unwrap(), style.bg.unwrap());
            writeln!(text, "{letter}: {fg:?} on {bg:?} {:?}", style.add_modifier).unwrap();
        }
        text + "\n" + &self.pictures
    }
}

#[test]
fn what_a_tune_did_stays_whole_where_the_list_has_moved_on() {
    let whole = TUNED.replace("->", "→");
    for (width, height) in [(80, 24), (120, 40), (200, 60)] {
        let (_, tuned, loops) = SITUATIONS[4];
        let text = tuned(Scene::new(loops, (width, height))).text();
        assert!(text.contains(&format!(" 06:17 {whole}")), "{text}");
    }
}

#[test]
fn a_setpoint_that_moves_during_a_tune_is_told_at_once() {
    let moved = |t: f64| {
        let [pv, _, output] = swing(t);
        [pv, 512.0, output]
    };
    let tuning = || Scene::new(1, (80, 24)).poll(300, hold).tune(200, swing);
    let told = "the setpoint moved during the tune";
    assert!(!tuning().text().contains(told));
    let text = tuning().tune(2, moved).text();
    assert!(text.contains(told), "{text}");
}

#[test]
fn what_a_tune_did_is_told_no_more_once_the_settings_were_changed() {
    let (_, tuned, loops) = SITUATIONS[4];
    let scene = || tuned(Scene::new(loops, (80, 24)));
    assert!(scene().text().contains(" 06:17 tuned: band"));
    let changed = "band 35.2 -> 28.0 degC";
    let text = scene().event(Happening::SettingsChanged, changed).text();
    assert!(!text.contains(" 06:17 tuned: band"), "{text}");
}

#[test]
fn quitting_in_the_middle_of_a_tune_says_so() {
    let (_, autotune, loops) = SITUATIONS[3];
    let text = autotune(Scene::new(loops, (80, 24))).types("q").text();
    assert!(
        text.contains("annealer-top tunes. Stop the recording"),
        "{text}"
    );
}
