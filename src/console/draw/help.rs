//! Every key that does something here, and what must be known for safety.

use ratatui::buffer::Buffer;
use ratatui::layout::Rect;
use ratatui::widgets::{Clear, Widget};

use super::bars::wrapped;
use super::pen::Pen;
use crate::console::view::{Open, ScreenView};

/// Where what a key does is written.
const WHAT: u16 = 18;
/// The widest.
const WIDEST: u16 = 76;

const CAUTION: &str = "Emberline watches; it does not protect. Keep an independent \
    over-temperature cut-out and the machine's own interlocks. Know who stands at the equipment. \
    Follow local codes and the site's lock-out practice; leave wiring and sign-off to licensed \
    people. This screen only reads: no key changes anything at a controller.";

/// What stands on the trend: in Unicode, in ASCII, and what it means.
const SIGNS: [(&str, &str, &str); 5] = [
    ("┊", ":", "a mark, or an autotune that began or ended"),
    ("━", "=", "on the time axis: an autotune"),
    ("╳", "x", "on the time axis: no values came"),
    ("▴ ▾", "^ v", "the process value is beyond the picture"),
    (
        "dots",
        "dots",
        "the edges of the band; dashes: the setpoint",
    ),
];

/// The keys, and what they do.
fn keys(view: &ScreenView) -> Vec<(&'static str, &'static str)> {
    let mut keys = Vec::new();
    if view.story.is_some() {
        keys.push(("n", "go on with the story that is told"));
    }
    if view.recording.takes_marks() {
        keys.push(("m", "write a mark; it stands where Enter is pressed"));
    }
    keys.extend([
        ("space", "hold the picture still, or go on"),
        ("c", "cursor, second cursor for the difference, none"),
        ("[ ]", "cursor to what happened before or after"),
        ("← →  PgUp PgDn", "move in time; the recording goes on"),
        ("Home  End  f", "to the beginning; follow the present again"),
        ("+ −", "show less or more time"),
        ("v V", "show less or more of the values"),
        ("0", "choose time and values shown by itself"),
    ]);
    if view.loops.len() > 1 {
        keys.extend([
            ("Tab  ↓ ↑", "next or previous loop"),
            ("Enter  Esc", "open the loop; back to all loops"),
        ]);
    }
    keys.extend([
        (
            "mouse",
            "click: cursor; drag: difference; wheel: time or values",
        ),
        ("a", "acknowledge a danger that is shown: you have seen it"),
        ("b", "colours for a light or a dark background"),
        ("?  Esc", "this help; close what is open"),
        (
            "q  Ctrl-Z",
            "quit, asking first while recording; or suspend",
        ),
    ]);
    keys
}

/// Lines of help: a key where one begins, and words.
fn lines(view: &ScreenView, columns: u16) -> Vec<(String, String)> {
    let mut lines = Vec::new();
    for (key, what) in keys(view) {
        let mut key = if view.look.ascii {
            key.replace("← →", "arrows").replace("↓ ↑", "up down")
        } else {
            key.to_owned()
        };
        for words in wrapped(what, columns.saturating_sub(WHAT)) {
            lines.push((std::mem::take(&mut key), words));
        }
    }
    lines.push((String::new(), String::new()));
    let told = [view.goes_on, CAUTION]
        .into_iter()
        .filter(|text| !text.is_empty());
    let told = told.flat_map(|text| wrapped(text, columns));
    lines.extend(told.map(|line| (line, String::new())));
    lines.push((String::new(), String::new()));
    for (sign, ascii, what) in SIGNS {
        let sign = view.look.choose(sign, ascii).to_owned();
        lines.push((sign, what.to_owned()));
    }
    lines
}

/// Lines of help that lie below the end of an area where it begins at line `from`.
pub(super) fn below(area: Rect, view: &ScreenView, from: u16) -> u16 {
    let all = lines(view, columns(area)).len() as u16;
    all.saturating_sub(from).saturating_sub(rows(area))
}

fn columns(area: Rect) -> u16 {
    WIDEST.min(area.width.saturating_sub(4))
}

fn rows(area: Rect) -> u16 {
    area.height.saturating_sub(1)
}

/// Draws the help instead of what is on the area.
pub(super) fn draw(buffer: &mut Buffer, area: Rect, view: &ScreenView) {
    let Open::Help(from) = *view.open else { return };
    let look = view.look;
    Clear.render(area, buffer);
    let columns = columns(area);
    let lines = lines(view, columns);
    let free = rows(area).saturating_sub(lines.len() as u16);
    let window = Rect::new(
        area.x + (area.width - columns) / 2,
        area.y + 1 + free / 2,
        columns,
        rows(area) - free / 2,
    );
    let mut pen = Pen::new(buffer, window);
    for (y, (key, what)) in lines.iter().skip(usize::from(from)).enumerate() {
        let is_key = !what.is_empty();
        let style = if is_key { look.strong } else { look.quiet };
        pen.put(0, y as u16, key, style);
        pen.put(WHAT, y as u16, what, ratatui::style::Style::new());
    }
}
