//! The lines of the trend: process value, setpoint and the edges of the band.

use ratatui::buffer::Buffer;
use ratatui::layout::Rect;

use super::scale::{TimeScale, ValueScale};
use crate::console::look::Look;
use crate::console::pixels::{Ink, Pixels};
use crate::console::view::LoopView;
use crate::trend::{Columns, Summary};

/// Draws all of them.
pub(super) fn draw(
    buffer: &mut Buffer,
    area: Rect,
    drawn: &Columns,
    time: &TimeScale,
    values: &ValueScale,
    one: &LoopView,
    look: &Look,
) {
    let mut pixels = Pixels::over(area);
    band_edges(&mut pixels, drawn, values, one.band);
    setpoint(&mut pixels, drawn, values);
    process_value(&mut pixels, drawn, time, values);
    pixels.render(buffer, look.ascii, |ink| match ink {
        Ink::Pv => look.pv,
        Ink::Setpoint => look.setpoint,
        Ink::Band | Ink::None => look.band,
    });
}

/// Dots along both edges of the band, thinly.
fn band_edges(pixels: &mut Pixels, drawn: &Columns, values: &ValueScale, band: Option<f64>) {
    let Some(band) = band else { return };
    for (x, target) in targets(drawn).filter(|(x, _)| x % 4 == 0) {
        for edge in [target - band, target + band] {
            pixels.dot(
                x.cast_signed(),
                values.dot(edge).round() as isize,
                Ink::Band,
            );
        }
    }
}

/// A dashed line, and a whole one where it jumps.
fn setpoint(pixels: &mut Pixels, drawn: &Columns, values: &ValueScale) {
    let mut last: Option<(usize, isize)> = None;
    for (x, target) in targets(drawn) {
        let y = values.dot(target).round() as isize;
        match last {
            Some((before, from)) if before + 1 == x && from != y => {
                pixels.column(x.cast_signed(), from, y, Ink::Setpoint);
            }
            _ if x % 6 < 4 => pixels.dot(x.cast_signed(), y, Ink::Setpoint),
            _ => {}
        }
        last = Some((x, y));
    }
}

/// The setpoint in force at each column that has a sample, or lies between two.
pub(super) fn targets(drawn: &Columns) -> impl Iterator<Item = (usize, f64)> {
    let mut held = drawn.before.map_or(f32::NAN, |point| point.setpoint);
    let last = match drawn.after {
        Some(_) => drawn.columns.len(),
        None => drawn
            .columns
            .iter()
            .rposition(Option::is_some)
            .map_or(0, |i| i + 1),
    };
    let columns = drawn.columns[..last].iter().enumerate();
    columns.filter_map(move |(x, summary)| {
        if let Some(summary) = summary {
            held = summary.setpoint.last;
        }
        held.is_finite().then_some((x, f64::from(held)))
    })
}

/// The whole line: from each sample to the next, and over all that lie in one column.
fn process_value(pixels: &mut Pixels, drawn: &Columns, time: &TimeScale, values: &ValueScale) {
    let row = |value: f32| values.dot(f64::from(value));
    let mut from = drawn.before.map(|p| (time.dot(p.at_s), p.pv));
    for (x, summary) in drawn.columns.iter().enumerate() {
        let Some(Summary { pv, .. }) = summary else {
            continue;
        };
        let here = x as f64;
        if let Some((x0, value)) = from.filter(|(_, value)| value.is_finite())
            && pv.first.is_finite()
        {
            pixels.line((x0, row(value)), (here, row(pv.first)), Ink::Pv);
        }
        if pv.min.is_finite() {
            let (top, bottom) = (row(pv.max).round() as isize, row(pv.min).round() as isize);
            pixels.column(x.cast_signed(), top, bottom, Ink::Pv);
        }
        from = Some((here, pv.last));
    }
    if let (Some((x0, value)), Some(after)) = (from, drawn.after)
        && value.is_finite()
        && after.pv.is_finite()
    {
        pixels.line(
            (x0, row(value)),
            (time.dot(after.at_s), row(after.pv)),
            Ink::Pv,
        );
    }
}
