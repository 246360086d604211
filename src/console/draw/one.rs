//! One loop on the whole screen.

use ratatui::buffer::Buffer;
use ratatui::layout::{Constraint, Layout, Rect};

use super::{bars, readout, side, strip, trend};
use crate::console::places::Plot;
use crate::console::view::{LoopView, ScreenView};

/// From this size on there is room for a column beside the trend, and for larger digits.
const WIDE: u16 = 110;
const HIGH: u16 = 34;
/// The column at the side is at most this wide.
const SIDE: u16 = 46;

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
    let [_, top, between, trend_area, below] = Layout::vertical([
        Constraint::Length(u16::from(is_high)),
        Constraint::Length(digits),
        Constraint::Length(1),
        Constraint::Fill(1),
        Constraint::Length(if is_wide { 0 } else { 1 + events }),
    ])
    .areas(area);
    strip::draw(buffer, top, one, view.look);
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
