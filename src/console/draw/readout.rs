//! What the cursor says: the exact values at one time, and the difference to another or what happened.

use ratatui::buffer::Buffer;
use ratatui::layout::Rect;

use super::pen::{Pen, fit, width};
use super::strip::{deviation_text, plain};
use crate::console::cursor::Cursor;
use crate::console::view::{LoopView, ScreenView, caption};
use crate::console::words::{UNKNOWN, told};
use crate::figures::duration;
use crate::trend::Moment;

/// Rows it takes: the values, and below them the rest.
pub(super) const HEIGHT: u16 = 2;
/// From so many columns on the words between the values fit.
const ROOM: u16 = 70;
/// So many moments of a span can be told apart.
const TOLD_APART: f64 = 240.0;

/// Draws the readout; nothing without a cursor.
pub(super) fn draw(buffer: &mut Buffer, area: Rect, view: &ScreenView, one: &LoopView) {
    let Some(cursor) = view.cursor else { return };
    let look = view.look;
    let mut pen = Pen::new(buffer, area);
    for y in 0..area.height {
        pen.tint(y, look.bar);
    }
    let strong = look.bar.patch(look.strong);
    let [pv, setpoint, output] = one.at(cursor.at_s);
    let off = pv.zip(setpoint).map(|(pv, setpoint)| pv - setpoint);
    let off = off.map_or_else(String::new, |off| {
        format!(" ({})", deviation_text(off, one))
    });
    let x = pen.put(1, 0, &time_of(view, cursor.at_s), strong) + 2;
    let pv = plain(pv, one.decimals);
    let x = pen.put(x, 0, &format!("{pv} {}", one.unit), strong);
    let target = if area.width < ROOM {
        look.choose(" → ", " > ")
    } else {
        "   setpoint "
    };
    let setpoint = plain(setpoint, one.decimals);
    let x = pen.put(x, 0, &format!("{target}{setpoint}{off}"), look.bar);
    let output = plain(output, 1);
    pen.put(x, 0, &format!("   output {output} %"), look.bar);
    let room = area.width.saturating_sub(2);
    let mut below: Vec<String> = difference(view, one, cursor).into_iter().collect();
    below.extend(happened(view, one, cursor.at_s));
    let mut x = 1;
    // As many as fit whole; the first one in any case.
    for (i, text) in below.iter().enumerate() {
        if i == 0 || x + width(text) <= room {
            x = pen.put(x, 1, &fit(text, room, look.ascii), strong) + 3;
        }
    }
}

/// The process value and what it is compared with in a few words, for a tile of the grid.
pub(super) fn short(view: &ScreenView, one: &LoopView, cursor: Cursor) -> String {
    let at = format!("at {}", time_of(view, cursor.at_s));
    match cursor.from_s {
        None => at,
        Some(from_s) => {
            let apart = duration((cursor.at_s - from_s).abs());
            format!("{at}: {} in {apart}", change(one, cursor.at_s, from_s))
        }
    }
}

/// From the first cursor to the second.
fn difference(view: &ScreenView, one: &LoopView, cursor: Cursor) -> Option<String> {
    let from_s = cursor.from_s?;
    let apart = duration((cursor.at_s - from_s).abs());
    let way = if cursor.at_s < from_s {
        "earlier"
    } else {
        "later"
    };
    let [first, ..] = one.at(from_s);
    Some(format!(
        "{}, {apart} {way} than {} ({})",
        change(one, cursor.at_s, from_s),
        time_of(view, from_s),
        plain(first, one.decimals)
    ))
}

/// What happened where the cursor is, to within what can be told apart on the picture; first what the
/// trend names too.
fn happened(view: &ScreenView, one: &LoopView, at_s: f64) -> Vec<String> {
    let near_s = (view.window.span_s / TOLD_APART).max(one.every_s);
    let moments = one.history.moments().iter();
    let mut near: Vec<&Moment> = moments
        .filter(|moment| (moment.at_s - at_s).abs() <= near_s)
        .collect();
    near.sort_by(|a, b| {
        let away = |moment: &Moment| (moment.at_s - at_s).abs();
        let is_less_telling = |moment: &Moment| caption(moment).is_none();
        let telling = is_less_telling(a).cmp(&is_less_telling(b));
        telling.then(away(a).total_cmp(&away(b)))
    });
    near.into_iter()
        .map(|moment| {
            let text = told(moment.what, &moment.text, view.look);
            format!("{} {text}", time_of(view, moment.at_s))
        })
        .collect()
}

/// Local time with seconds.
fn time_of(view: &ScreenView, at_s: f64) -> String {
    let wall = view.wall(at_s);
    let local = wall.with_timezone(&(view.zone)(wall));
    local.format("%H:%M:%S").to_string()
}

/// The process value at one time less that at another.
fn change(one: &LoopView, at_s: f64, from_s: f64) -> String {
    let ([at, ..], [from, ..]) = (one.at(at_s), one.at(from_s));
    at.zip(from).map_or(UNKNOWN.to_owned(), |(at, from)| {
        deviation_text(at - from, one)
    })
}
