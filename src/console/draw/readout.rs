//! What the cursor says: the exact values at one time, or the difference between two.

use ratatui::buffer::Buffer;
use ratatui::layout::Rect;

use super::pen::Pen;
use crate::console::view::{LoopView, ScreenView};
use crate::console::words::{UNKNOWN, number, signed};
use crate::figures::duration;
use crate::trend::Point;

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
    let rest = format!("   setpoint {setpoint}   output {output} %");
    let x = pen.put(x, 0, &rest, look.bar);
    if let Some(from_s) = cursor.from_s {
        let there = one.history.nearest(from_s);
        let (earlier, later) = if from_s < cursor.at_s {
            (there, here)
        } else {
            (here, there)
        };
        let apart = duration((cursor.at_s - from_s).abs());
        let change = change(earlier, later, one.decimals);
        pen.put(x + 3, 0, &format!("{change} over {apart}"), strong);
    }
}

/// How the process value changed from one time to a later one.
fn change(earlier: Option<Point>, later: Option<Point>, decimals: u32) -> String {
    let values = earlier.zip(later);
    let change = values.map(|(earlier, later)| f64::from(later.pv) - f64::from(earlier.pv));
    match change.filter(|change| change.is_finite()) {
        Some(change) => signed(change, decimals),
        None => UNKNOWN.to_owned(),
    }
}
