//! The trend: process value and setpoint above the output lane, on one time axis.
//!
//! `scale` says where times and values stand, `axes` labels them, `curves` draws the lines, `lane` the
//! output, and `notes` what is written across them.

mod axes;
mod curves;
mod lane;
mod notes;
mod scale;

use ratatui::buffer::Buffer;
use ratatui::layout::{Constraint, Layout, Rect};

use crate::console::places::Plot;
use crate::console::view::{LoopView, ScreenView};
use crate::trend::Columns;
use scale::{TimeScale, ValueScale};

/// The label column: `1300.0 ` and the axis.
const AXIS: u16 = 7;
/// So many polls may lie between two values of a line.
const GAP: f64 = 1.5;

/// Draws the trend of a loop; gives where it is.
pub(super) fn draw(
    buffer: &mut Buffer,
    area: Rect,
    view: &ScreenView,
    one: &LoopView,
) -> Option<Plot> {
    let lane_height = (area.height / 6).clamp(2, 6);
    let [plot, lane, axis] = Layout::vertical([
        Constraint::Fill(1),
        Constraint::Length(lane_height),
        Constraint::Length(2),
    ])
    .areas(area);
    draw_parts(buffer, [plot, lane, axis], view, one)
}

/// Draws plot, lane and time axis into areas of one width, one below the other; gives where they are.
pub(super) fn draw_parts(
    buffer: &mut Buffer,
    [plot, lane, axis]: [Rect; 3],
    view: &ScreenView,
    one: &LoopView,
) -> Option<Plot> {
    let plot_inside = inside(plot);
    if plot_inside.width == 0 || plot_inside.height == 0 {
        return None;
    }
    let time = TimeScale::of(view, one.history, plot_inside.width);
    let mut drawn = one.history.columns(time.from_s, time.width_s, time.dots);
    if let Some(until_s) = view.window.until_s {
        stop_at(&mut drawn, time.dot(until_s));
    }
    let values = ValueScale::of(&drawn, one, plot_inside.height, view.value_zoom);
    axes::values(buffer, plot, &values, view.look);
    curves::draw(buffer, plot_inside, &drawn, &time, &values, one, view.look);
    notes::outside(buffer, plot_inside, &drawn, &values, view.look);
    notes::peaks(buffer, plot_inside, &time, &values, one, view.look);
    notes::moments(buffer, plot_inside, &time, view, one);
    let between = (GAP * one.every_s / (2.0 * time.width_s)).ceil() as usize;
    lane::draw(buffer, lane, &drawn, between, view.look);
    notes::cursors(buffer, [plot_inside, inside(lane)], &time, view);
    axes::times(buffer, axis, &drawn, &time, view, one);
    let height = plot.height + lane.height + axis.height;
    Some(Plot {
        curves: Rect {
            height,
            ..plot_inside
        },
        whole: Rect { height, ..plot },
        from_s: time.from_s,
        cell_s: 2.0 * time.width_s,
    })
}

/// A picture that stands still shows nothing that came later.
fn stop_at(drawn: &mut Columns, dot: f64) {
    let shown = (dot.max(0.0) as usize).saturating_add(1);
    if shown < drawn.columns.len() {
        drawn.columns[shown..].fill(None);
        drawn.after = None;
    }
}

/// What is right of the labels.
fn inside(area: Rect) -> Rect {
    let left = AXIS.min(area.width);
    Rect {
        x: area.x + left,
        width: area.width - left,
        ..area
    }
}
