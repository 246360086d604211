//! What is written across the trend.

use ratatui::buffer::Buffer;
use ratatui::layout::Rect;

use super::scale::{Side, TimeScale, ValueScale};
use crate::console::draw::pen::{Pen, fit, width};
use crate::console::look::Look;
use crate::console::view::{LoopView, ScreenView, caption};
use crate::console::words::number;
use crate::trend::Columns;

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
    let moments = one.history.moments().iter();
    let drawn: Vec<(u16, &str)> = moments
        .filter_map(|moment| Some((time.cell(moment.at_s)?, caption(moment)?)))
        .collect();
    for (x, _) in &drawn {
        for y in 0..area.height {
            pen.put_behind(*x, y, look.choose("┊", ":"), look.mark);
        }
    }
    for (x, words) in drawn {
        let text = fit(words, 24, look.ascii);
        let lowest = (0..area.height)
            .rev()
            .find(|y| pen.is_free(x + 1, *y, width(&text) + 2));
        if let Some(y) = lowest {
            pen.put(x + 2, y, &text, look.mark);
        }
    }
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

/// Lines where the cursors are, behind everything else.
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
                    pen.put_behind(x, y, look.choose("│", "|"), style);
                }
            }
        }
    }
}

/// The extremes of an autotune's swings, written just past them.
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
    for (at_s, value) in one.peaks.iter().filter(shown) {
        let Some(x) = time.cell(*at_s) else { continue };
        let text = number(*value, one.decimals);
        let row = (values.dot(*value).round() / 4.0) as u16;
        let is_high = one.setpoint.is_none_or(|setpoint| *value > setpoint);
        let y = if is_high {
            row.checked_sub(1)
        } else {
            Some(row + 1)
        };
        let left = x.saturating_sub(width(&text) / 2);
        if let Some(y) = y.filter(|y| pen.is_free(left, *y, width(&text))) {
            pen.put(left, y, &text, look.quiet);
        }
    }
}
