//! The axes of the trend.

use ratatui::buffer::Buffer;
use ratatui::layout::Rect;

use super::AXIS;
use super::scale::{TimeScale, ValueScale};
use crate::console::draw::pen::{Pen, width};
use crate::console::look::Look;
use crate::console::ticks::time_ticks;
use crate::console::view::{LoopView, ScreenView};
use crate::console::words::number;
use crate::trend::Columns;

/// Time labels stand at least this many cells apart.
const TIME_APART: f64 = 10.0;

/// Labels on round values.
pub(super) fn values(buffer: &mut Buffer, area: Rect, values: &ValueScale, look: &Look) {
    let mut pen = Pen::new(buffer, area);
    for y in 0..area.height {
        pen.put(AXIS - 1, y, look.choose("│", "|"), look.quiet);
    }
    for (value, row) in values.ticks.labels(values.rows) {
        let y = values.rows - 1 - row;
        let label = &number(value, values.ticks.decimals);
        let x = (AXIS - 2).saturating_sub(width(label));
        pen.put(x, y, label, look.quiet);
        pen.put(AXIS - 1, y, look.choose("┤", "+"), look.quiet);
    }
}

/// Ticks on round local times; a heavy line where an autotune was under way, crosses where values are
/// missing.
pub(super) fn times(
    buffer: &mut Buffer,
    area: Rect,
    drawn: &Columns,
    time: &TimeScale,
    view: &ScreenView,
    one: &LoopView,
) {
    let look = view.look;
    let mut pen = Pen::new(buffer, area);
    let cells = (time.dots / 2) as u16;
    pen.put(AXIS - 1, 0, look.choose("└", "+"), look.quiet);
    pen.put(
        AXIS,
        0,
        &look.choose("─", "-").repeat(usize::from(cells)),
        look.quiet,
    );
    tunes(&mut pen, time, view, one);
    for (x, pair) in drawn.columns.chunks(2).enumerate() {
        // A gap narrower than a column would not show in the line.
        if pair.iter().flatten().any(|summary| summary.is_broken) {
            pen.put(AXIS + x as u16, 0, look.choose("╳", "x"), look.trouble);
        }
    }
    let wall = |time_s: f64| view.wall(time_s);
    let end_s = time.from_s + time.width_s * time.dots as f64;
    let apart_s = TIME_APART * 2.0 * time.width_s;
    for tick in time_ticks(wall(time.from_s), wall(end_s), apart_s, view.zone) {
        let at = tick.time - wall(time.from_s);
        let at_s = time.from_s + at.as_seconds_f64();
        if let Some(x) = time.cell(at_s) {
            pen.put(AXIS + x, 0, look.choose("┬", "+"), look.quiet);
            let half = width(&tick.label) / 2;
            let left = (AXIS + x).saturating_sub(half);
            if left + width(&tick.label) <= AXIS + cells {
                pen.put(left, 1, &tick.label, look.quiet);
            }
        }
    }
}

fn tunes(pen: &mut Pen, time: &TimeScale, view: &ScreenView, one: &LoopView) {
    for (began_s, ended_s) in one.history.tunes() {
        let from = time.dot(*began_s).max(0.0) as u16 / 2;
        let until = time
            .dot(ended_s.unwrap_or(view.now_s()))
            .min(time.dots as f64 - 1.0);
        if until >= 0.0 {
            for x in from..=(until as u16 / 2) {
                pen.put(AXIS + x, 0, view.look.choose("━", "="), view.look.mark);
            }
        }
    }
}
