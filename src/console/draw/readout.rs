//! What the cursor says: the exact values at one time, or the difference between two.

use ratatui::buffer::Buffer;
use ratatui::layout::Rect;

use super::pen::{Pen, fit};
use crate::console::view::{LoopView, ScreenView};
use crate::console::words::{UNKNOWN, number, signed};
use crate::figures::duration;
use crate::trend::{Moment, Point};

/// From so many columns on the output and a difference fit.
const ROOM: u16 = 100;
/// So many moments of a span can be told apart.
const TOLD_APART: f64 = 240.0;

/// Draws the readout on one row; nothing without a cursor.
pub(super) fn draw(buffer: &mut Buffer, area: Rect, view: &ScreenView, one: &LoopView) {
    let Some(cursor) = view.cursor else { return };
    let look = view.look;
    let mut pen = Pen::new(buffer, area);
    pen.tint(0, look.bar);
    let here = one.history.nearest(cursor.at_s);
    let time = view
        .wall(cursor.at_s)
        .with_timezone(&(view.zone)(view.wall(cursor.at_s)));
    let strong = look.bar.patch(look.strong);
    let x = pen.put(1, 0, &time.format("%H:%M:%S").to_string(), strong) + 2;
    let value = |value: Option<f32>, decimals| {
        let known = value.filter(|value| value.is_finite());
        known.map_or(UNKNOWN.to_owned(), |value| {
            number(f64::from(value), decimals)
        })
    };
    let pv = value(here.map(|point| point.pv), one.decimals);
    let setpoint = value(here.map(|point| point.setpoint), one.decimals);
    let output = value(here.map(|point| point.output), 1);
    let x = pen.put(x, 0, &format!("{pv} {}", one.unit), strong);
    let off = here.map(|point| f64::from(point.pv) - f64::from(point.setpoint));
    let off = off
        .filter(|off| off.is_finite())
        .map_or_else(String::new, |off| {
            format!(" ({})", signed(off, one.decimals))
        });
    let x = pen.put(x, 0, &format!("   setpoint {setpoint}{off}"), look.bar);
    // Where there is no room for all of it, the difference is what was asked for.
    let has_room = cursor.from_s.is_none() || area.width >= ROOM;
    let x = if has_room {
        pen.put(x, 0, &format!("   output {output} %"), look.bar)
    } else {
        x
    };
    if let Some(from_s) = cursor.from_s {
        let apart = duration((cursor.at_s - from_s).abs());
        let change = change(one.history.nearest(from_s), here, one.decimals);
        let way = if cursor.at_s < from_s {
            "earlier"
        } else {
            "later"
        };
        pen.put(x + 3, 0, &format!("{change}, {apart} {way}"), strong);
    } else if let Some(moment) = at(one, view, cursor.at_s) {
        let room = area.width.saturating_sub(x + 4);
        pen.put(x + 3, 0, &fit(&moment.text, room, look.ascii), strong);
    }
}

/// What happened where the cursor is, to within what can be told apart on the picture.
fn at<'a>(one: &'a LoopView, view: &ScreenView, at_s: f64) -> Option<&'a Moment> {
    let near_s = (view.window.span_s / TOLD_APART).max(one.every_s);
    let away = |moment: &&Moment| (moment.at_s - at_s).abs();
    let moments = one.history.moments().iter().filter(|it| away(it) <= near_s);
    moments.min_by(|a, b| away(a).total_cmp(&away(b)))
}

/// The process value at the second cursor less that at the first.
fn change(first: Option<Point>, second: Option<Point>, decimals: u32) -> String {
    let values = first.zip(second);
    let change = values.map(|(first, second)| f64::from(second.pv) - f64::from(first.pv));
    match change.filter(|change| change.is_finite()) {
        Some(change) => signed(change, decimals),
        None => UNKNOWN.to_owned(),
    }
}
