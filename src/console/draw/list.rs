//! Many loops: one row each, worst first.

use ratatui::buffer::Buffer;
use ratatui::layout::Rect;

use super::bars::tone_style;
use super::pen::{Pen, fit, width};
use super::strip::{deviation_text, plain};
use crate::console::doing::Tone;
use crate::console::pixels::{Ink, Pixels};
use crate::console::view::{LoopView, ScreenView};

/// Columns for the value, its unit and the deviation.
const VALUES: u16 = 22;
/// From so many columns on there is a sparkline.
const ROOM: u16 = 70;

/// Draws a row for each loop, scrolled so that the selected one shows; gives where each is.
pub(super) fn draw(buffer: &mut Buffer, area: Rect, view: &ScreenView) -> Vec<(Rect, usize)> {
    let order = view.order();
    let selected = view.selected();
    let at = order.iter().position(|i| *i == selected).unwrap_or(0);
    let rows = usize::from(area.height.saturating_sub(1)).max(1);
    let skipped = at.saturating_sub(rows - 1);
    let mut places = Vec::new();
    for (y, i) in order.iter().skip(skipped).take(rows).enumerate() {
        let row = Rect::new(area.x, area.y + 1 + y as u16, area.width, 1);
        if let Some(one) = view.loops.get(*i) {
            line(buffer, row, view, one, *i == selected);
            places.push((row, *i));
        }
    }
    places
}

fn line(buffer: &mut Buffer, area: Rect, view: &ScreenView, one: &LoopView, is_selected: bool) {
    let look = view.look;
    let wide = if area.width < ROOM {
        0
    } else {
        (area.width / 6).min(30)
    };
    let spark = Rect::new(area.right().saturating_sub(wide + 1), area.y, wide, 1);
    let mut pen = Pen::new(buffer, area);
    let names = view
        .loops
        .iter()
        .map(|one| width(one.name))
        .max()
        .unwrap_or(0);
    let names = names.min(area.width / 5);
    // What stands back elsewhere is lost on a bar of 16 colours.
    let quiet = if is_selected { look.bar } else { look.quiet };
    if is_selected {
        pen.tint(0, look.bar);
        pen.put(0, 0, look.choose("▸", ">"), look.strong);
    }
    pen.put(1, 0, &fit(one.name, names, look.ascii), look.strong);
    let values = area.width.saturating_sub(wide + VALUES + 2);
    let room = values.saturating_sub(names + 4);
    let sentence = fit(&one.doing.text, room, look.ascii);
    let tone = match one.doing.tone {
        Tone::Unknown => quiet,
        tone => tone_style(look, tone),
    };
    pen.put(names + 3, 0, &sentence, tone);
    let value = &plain(one.pv, one.decimals);
    let x = pen.put(values, 0, &format!("{value:>7} "), look.pv);
    let x = pen.put(x, 0, one.unit, quiet);
    let off = one
        .deviation()
        .map_or(String::new(), |d| deviation_text(d, one));
    pen.put(x, 0, &format!("{off:>8}"), look.strong);
    sparkline(buffer, spark, view, one);
}

/// The process value over the window, from its least to its greatest.
fn sparkline(buffer: &mut Buffer, area: Rect, view: &ScreenView, one: &LoopView) {
    let mut pixels = Pixels::over(area);
    let count = pixels.width();
    let width_s = view.window.span_s / count as f64;
    let until_s = view.window.until_s.unwrap_or(view.now_s());
    let until_s = (until_s / width_s).ceil() * width_s;
    let drawn = one
        .history
        .columns(until_s - view.window.span_s, width_s, count);
    let spans = || drawn.columns.iter().map(|c| c.map(|summary| summary.pv));
    let low = spans().flatten().map(|s| s.min).fold(f32::NAN, f32::min);
    let high = spans().flatten().map(|s| s.max).fold(f32::NAN, f32::max);
    let least = one.band.unwrap_or(1.0) as f32;
    let range = (high - low).max(least);
    let row = |value: f32| (3.0 * (1.0 - (value - low) / range)).round() as isize;
    for (x, span) in spans().enumerate() {
        if let Some(span) = span.filter(|span| span.min.is_finite()) {
            pixels.column(x.cast_signed(), row(span.max), row(span.min), Ink::Pv);
        }
    }
    pixels.render(buffer, view.look.ascii, |_| view.look.pv);
}
