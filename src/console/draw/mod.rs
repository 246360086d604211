//! The picture: pure functions from a view to cells.
//!
//! `one` lays out a single loop, `grid` a few, `list` many; `trend`, `strip`, `side`, `bars` and
//! `health` are the pieces they share.

mod bars;
mod grid;
mod health;
mod help;
mod list;
mod one;
mod pen;
mod readout;
mod side;
mod strip;
mod trend;

use ratatui::buffer::Buffer;
use ratatui::layout::{Constraint, Layout, Rect};

use super::places::Places;
use super::view::{Open, ScreenView};
use super::words::{UNKNOWN, number};
use pen::Pen;

/// Below this nothing can be laid out.
const SMALLEST: (u16, u16) = (60, 16);

/// Draws a whole screen; gives where things are.
pub(super) fn screen(buffer: &mut Buffer, area: Rect, view: &ScreenView) -> Places {
    let places = laid_out(buffer, area, view);
    if view.look.ascii {
        in_ascii(buffer, area);
    }
    places
}

/// Replaces what the terminal cannot show; a person's own words may hold anything.
fn in_ascii(buffer: &mut Buffer, area: Rect) {
    for position in area.positions() {
        let cell = &mut buffer[position];
        let symbol = match cell.symbol() {
            symbol if symbol.is_ascii() => continue,
            "\u{2212}" => "-",
            "\u{202f}" => " ",
            "→" => ">",
            "±" => "~",
            _ => "?",
        };
        cell.set_symbol(symbol);
    }
}

fn laid_out(buffer: &mut Buffer, area: Rect, view: &ScreenView) -> Places {
    if area.width < SMALLEST.0 || area.height < SMALLEST.1 {
        too_small(buffer, area, view);
        return Places::default();
    }
    let story = bars::story_height(view, area.width);
    let notices = bars::notices_height(view, area.width);
    let [header, told, said, body, footer] = Layout::vertical([
        Constraint::Length(1),
        Constraint::Length(story),
        Constraint::Length(notices),
        Constraint::Fill(1),
        Constraint::Length(1),
    ])
    .areas(area);
    bars::header(buffer, header, view);
    bars::story(buffer, told, view);
    bars::notices(buffer, said, view);
    let mut places = body_of(buffer, body, view);
    if let Open::Help(from) = *view.open {
        help::draw(buffer, body, view);
        places.help_below = help::below(body, view, from);
    }
    bars::footer(buffer, footer, view, places.help_below);
    places
}

fn body_of(buffer: &mut Buffer, area: Rect, view: &ScreenView) -> Places {
    match view.alone.and_then(|i| view.loops.get(i)) {
        Some(one) => Places {
            plots: one::draw(buffer, area, view, one).into_iter().collect(),
            ..Places::default()
        },
        None if view.is_list() => Places {
            loops: list::draw(buffer, area, view),
            ..Places::default()
        },
        None => grid::draw(buffer, area, view),
    }
}

/// What can still be said: the values, and what to do.
fn too_small(buffer: &mut Buffer, area: Rect, view: &ScreenView) {
    let mut pen = Pen::new(buffer, area);
    let shown = view.alone.map_or(0, |i| i);
    for (row, one) in view.loops.iter().skip(shown).enumerate() {
        let value = one
            .pv
            .map_or(UNKNOWN.to_owned(), |pv| number(pv, one.decimals));
        let text = format!("{value} {} {}", one.unit, one.name);
        if (row as u16) < area.height.saturating_sub(2) {
            pen.put(0, row as u16, &text, view.look.pv);
        }
    }
    let (width, height) = SMALLEST;
    let below = area.height.saturating_sub(2);
    pen.put(
        0,
        below,
        &format!("enlarge to {width}x{height}"),
        view.look.strong,
    );
    let last = match view.open {
        Open::Quit => "stop recording? y/n",
        Open::Mark(_) => "mark: Enter or Esc",
        _ => "q quits",
    };
    pen.put(0, below + 1, last, view.look.quiet);
}
