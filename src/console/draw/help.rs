//! Every key, and what must be known for safety.

use ratatui::buffer::Buffer;
use ratatui::layout::Rect;
use ratatui::widgets::{Clear, Widget};

use super::bars::wrapped;
use super::pen::Pen;
use crate::console::view::ScreenView;

const KEYS: [(&str, &str); 15] = [
    ("m", "write a mark; it stands where Enter is pressed"),
    ("space", "hold the picture still, or go on"),
    ("c", "cursor, second cursor for the difference, none"),
    ("[ ]", "cursor to what happened before or after"),
    ("← →  PgUp PgDn", "move in time; the recording goes on"),
    ("Home  End  f", "to the beginning; follow the present again"),
    (
        "+ −  v V",
        "show less or more time; less or more of the values",
    ),
    (
        "mouse",
        "click: cursor; drag: difference; wheel: time, values",
    ),
    ("0", "choose time and values shown by itself"),
    ("Tab  ↓ ↑", "next or previous loop"),
    ("Enter  Esc", "open the loop; back to all loops"),
    ("a", "acknowledge a danger: you have seen it"),
    ("n", "go on with the story, where one is told"),
    ("?  Esc", "this help; close what is open"),
    (
        "q  Ctrl-Z",
        "quit, asking first while recording; or suspend",
    ),
];

const CAUTION: &str = "Emberline watches; it does not protect. Keep an independent \
    over-temperature cut-out and the machine's own interlocks. Know who stands at the equipment. \
    Follow local codes and the site's lock-out practice; leave wiring and sign-off to licensed \
    people. This screen only reads: no key changes anything at a controller.";

/// Draws the help over the screen.
pub(super) fn draw(buffer: &mut Buffer, area: Rect, view: &ScreenView) {
    let look = view.look;
    let width = 72.min(area.width.saturating_sub(4));
    let caution = wrapped(CAUTION, width - 4);
    let height = (KEYS.len() + caution.len() + 3) as u16;
    let height = height.min(area.height.saturating_sub(1));
    let window = Rect::new(
        area.x + (area.width - width) / 2,
        area.y + (area.height - 1 - height) / 2,
        width,
        height,
    );
    Clear.render(window, buffer);
    let mut pen = Pen::new(buffer, window);
    for y in 0..height {
        pen.tint(y, look.bar);
    }
    for (y, (key, what)) in KEYS.iter().enumerate() {
        let key = if look.ascii {
            key.replace("← →", "arrows").replace("↓ ↑", "up down")
        } else {
            (*key).to_owned()
        };
        pen.put(2, 1 + y as u16, &key, look.bar.patch(look.strong));
        pen.put(20, 1 + y as u16, what, look.bar);
    }
    for (y, line) in caution.iter().enumerate() {
        pen.put(2, (KEYS.len() + 2 + y) as u16, line, look.bar);
    }
}
