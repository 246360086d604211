//! What is written across the trend.

use ratatui::buffer::Buffer;
use ratatui::layout::Rect;

use super::scale::{Side, TimeScale, ValueScale};
use crate::console::draw::pen::{Pen, fit, width};
use crate::console::look::Look;
use crate::console::view::{LoopView, ScreenView, caption};
use crate::console::words::number;
use crate::figures::duration;
use crate::trend::Columns;

/// The longest words beside a line.
const LONGEST: u16 = 24;

/// A line down and a few words for what a person or the controller did.
pub(super) fn moments(
    buffer: &mut Buffer,
    area: Rect,
    time: &TimeScale,
    view: &ScreenView,
    one: &LoopView,
) {
    let look = view.look;
    let mut pen = Pen::new(buffer, area);
    let until_s = view.window.until_s.unwrap_or(f64::INFINITY);
    let moments = one.history.moments().iter();
    let drawn: Vec<(u16, &str)> = moments
        .filter(|moment| moment.at_s <= until_s)
        .filter_map(|moment| Some((time.cell(moment.at_s)?, caption(moment)?)))
        .collect();
    for (x, _) in &drawn {
        for y in 0..area.height {
            pen.put_behind(*x, y, moment_line(look), look.mark);
        }
    }
    let has_neighbour = |x: u16| {
        let near = drawn.iter().filter(|(other, _)| other.abs_diff(x) <= 1);
        near.count() > 1
    };
    for (x, words) in &drawn {
        let text = fit(words, LONGEST, look.ascii);
        if let Some((left, y)) = place_beside(&pen, *x, width(&text), look) {
            pen.put(left, y, &text, look.mark);
            if has_neighbour(*x) {
                // Which of the lines it belongs to.
                let sign = if left > *x {
                    look.choose("├", "+")
                } else {
                    look.choose("┤", "+")
                };
                pen.put(*x, y, sign, look.mark);
            }
        }
    }
}

fn moment_line(look: &Look) -> &'static str {
    look.choose("┊", ":")
}

/// Where words that belong to the line at `x` may stand, as low as possible: right of it, else left of
/// it, and rather across other lines than not at all.
fn place_beside(pen: &Pen, x: u16, wide: u16, look: &Look) -> Option<(u16, u16)> {
    // With a cell free beyond them: words that touch others read as one.
    let right = Some(x + 2);
    let left = x.checked_sub(wide + 1);
    let ways = [
        (right, " "),
        (left, " "),
        (right, moment_line(look)),
        (left, moment_line(look)),
    ];
    ways.into_iter().find_map(|(from, over)| {
        let from = from?;
        let beyond = if from > x {
            from
        } else {
            from.saturating_sub(1)
        };
        let room = pen.area().width.saturating_sub(beyond).min(wide + 1);
        let is_free = |y: &u16| room >= wide && pen.holds_only(beyond, *y, room, over);
        let y = (0..pen.area().height).rev().find(is_free)?;
        Some((from, y))
    })
}

/// Arrows where the process value lies above or below what is shown: zooming hides nothing.
pub(super) fn outside(
    buffer: &mut Buffer,
    area: Rect,
    drawn: &Columns,
    values: &ValueScale,
    look: &Look,
) {
    let mut pen = Pen::new(buffer, area);
    for (x, pair) in drawn.columns.chunks(2).enumerate() {
        let spans = || pair.iter().flatten().map(|summary| summary.pv);
        let is = |value: f32, side| values.outside(f64::from(value)) == Some(side);
        if spans().any(|pv| is(pv.max, Side::Above)) {
            pen.put(x as u16, 0, look.choose("▴", "^"), look.pv);
        }
        if spans().any(|pv| is(pv.min, Side::Below)) {
            let last = area.height.saturating_sub(1);
            pen.put(x as u16, last, look.choose("▾", "v"), look.pv);
        }
    }
}

/// Lines where the cursors are, behind the curves and what is written.
pub(super) fn cursors(buffer: &mut Buffer, areas: [Rect; 2], time: &TimeScale, view: &ScreenView) {
    let Some(cursor) = view.cursor else { return };
    let look = view.look;
    let places = [
        (Some(cursor.at_s), look.strong),
        (cursor.from_s, look.quiet),
    ];
    for area in areas {
        let mut pen = Pen::new(buffer, area);
        for (at_s, style) in places {
            let cell = at_s.and_then(|at_s| time.cell(at_s));
            if let Some(x) = cell {
                for y in 0..area.height {
                    // A cursor on an event is still a cursor.
                    if pen.holds_only(x, y, 1, moment_line(look)) {
                        pen.put(x, y, look.choose("│", "|"), style);
                    }
                }
            }
        }
    }
}

/// The extremes of an autotune's swings, written just past them, and where there is room how long the
/// swing took: since the last extreme on the same side.
pub(super) fn peaks(
    buffer: &mut Buffer,
    area: Rect,
    time: &TimeScale,
    values: &ValueScale,
    one: &LoopView,
    look: &Look,
) {
    let mut pen = Pen::new(buffer, area);
    let shown = |(_, value): &&(f64, f64)| values.outside(*value).is_none();
    for (i, (at_s, value)) in one.peaks.iter().enumerate().filter(|(_, peak)| shown(peak)) {
        let Some(x) = time.cell(*at_s) else { continue };
        let text = number(*value, one.decimals);
        let before = i.checked_sub(2).and_then(|i| one.peaks.get(i));
        let period = before.map(|(before_s, _)| duration(at_s - before_s));
        let longer = period.map(|period| format!("{text}, {period}"));
        let row = (values.dot(*value).round() / 4.0) as u16;
        // The peaks beside it lie on the other side.
        let beside = i
            .checked_sub(1)
            .or(Some(i + 1))
            .and_then(|i| one.peaks.get(i));
        let other = beside.map(|(_, value)| *value).or(one.setpoint);
        let is_high = other.is_none_or(|other| *value > other);
        let y = if is_high {
            row.checked_sub(1)
        } else {
            Some(row + 1)
        };
        let Some(y) = y else { continue };
        // With a cell free on both sides: numbers that touch read as one.
        let place = |text: &String| x.saturating_sub(width(text) / 2);
        let is_free =
            |text: &String| pen.is_free(place(text).saturating_sub(1), y, width(text) + 2);
        if let Some(text) = longer.into_iter().chain([text]).find(is_free) {
            pen.put(place(&text), y, &text, look.quiet);
        }
    }
}
