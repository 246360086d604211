//! One loop on the whole screen.

use ratatui::buffer::Buffer;
use ratatui::layout::{Constraint, Layout, Rect};

use super::bars::wrapped;
use super::pen::{Pen, fit};
use super::{bars, readout, side, strip, trend};
use crate::console::places::Plot;
use crate::console::view::{LoopView, ScreenView};
use crate::console::words::{time_of_day, told};

/// From this size on there is room for a column beside the trend, and for larger digits.
const WIDE: u16 = 110;
const HIGH: u16 = 34;
/// The column at the side is at most this wide.
const SIDE: u16 = 46;

/// Below this height rows are kept for the trend.
const LOW: u16 = 18;
/// What is said of an autotune takes at most so many rows.
const MOST_OF_TUNE: usize = 2;

/// Draws a loop alone; gives where its trend is.
pub(super) fn draw(
    buffer: &mut Buffer,
    area: Rect,
    view: &ScreenView,
    one: &LoopView,
) -> Option<Plot> {
    let is_high = area.height >= HIGH;
    let is_wide = area.width >= WIDE;
    let digits = if is_high && is_wide { 5 } else { 3 };
    let events = match (is_wide, area.height) {
        (true, _) => 0,
        (false, ..20) => 1,
        (false, 20..30) => 2,
        (false, _) => 4,
    };
    let tune = tune(view, one, area);
    let [_, top, between, trend_area, below] = Layout::vertical([
        Constraint::Length(u16::from(is_high)),
        Constraint::Length(digits),
        Constraint::Length(between_height(view, area, tune.len())),
        Constraint::Fill(1),
        Constraint::Length(if is_wide { 0 } else { 1 + events }),
    ])
    .areas(area);
    strip::draw(buffer, top, one, view.look);
    if view.window.until_s.is_none() {
        let mut pen = Pen::new(buffer, between);
        for (y, line) in tune.iter().enumerate() {
            pen.put(1, y as u16, line, view.look.mark);
        }
    }
    bars::paused(buffer, between, view);
    readout::draw(buffer, between, view, one);
    if is_wide {
        let column = (trend_area.width / 3).min(SIDE);
        let [left, _, right] = Layout::horizontal([
            Constraint::Fill(1),
            Constraint::Length(2),
            Constraint::Length(column),
        ])
        .areas(trend_area);
        side::column(buffer, right, view, one);
        trend::draw(buffer, left, view, one)
    } else {
        side::lines(buffer, below, view, one);
        trend::draw(buffer, trend_area, view, one)
    }
}

/// Rows between the values and the trend.
fn between_height(view: &ScreenView, area: Rect, tune: usize) -> u16 {
    let read = if view.cursor.is_some() {
        readout::HEIGHT
    } else {
        u16::from(area.height >= LOW || view.window.until_s.is_some())
    };
    read.max(tune as u16)
}

/// What disturbs an autotune or what the latest one did, in rows: it stays where the list of what happened
/// has moved on.
fn tune(view: &ScreenView, one: &LoopView, area: Rect) -> Vec<String> {
    let outcome = one.outcome.map(|moment| {
        let time = time_of_day(view.wall(moment.at_s), view.zone);
        let text = told(moment.what, &moment.text, view.look);
        format!("{time} {text}")
    });
    let Some(text) = one.disturbed.clone().or(outcome) else {
        return Vec::new();
    };
    let room = area.width.saturating_sub(1);
    let mut lines = wrapped(&text, room);
    if lines.len() > MOST_OF_TUNE {
        let rest = lines.split_off(MOST_OF_TUNE - 1).join(" ");
        lines.push(fit(&rest, room, view.look.ascii));
    }
    lines
}
