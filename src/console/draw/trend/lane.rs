//! The output lane.

use ratatui::buffer::Buffer;
use ratatui::layout::Rect;

use super::AXIS;
use crate::console::draw::pen::Pen;
use crate::console::look::Look;
use crate::trend::{Columns, Span, Summary};

/// The output, filled from 0 to 100 %: solid up to what it kept, pale up to what it reached. Up to
/// `between` empty cells between two polls show what it was before: an output holds until it changes.
pub(super) fn draw(buffer: &mut Buffer, area: Rect, drawn: &Columns, between: usize, look: &Look) {
    let mut pen = Pen::new(buffer, area);
    let bottom = area.height.saturating_sub(1);
    for y in 0..area.height {
        pen.put(AXIS - 1, y, look.choose("│", "|"), look.quiet);
    }
    pen.put(AXIS - 5, 0, "100%", look.quiet);
    pen.put(AXIS - 3, bottom, "0%", look.quiet);
    for (x, span) in held(drawn, between).into_iter().enumerate() {
        let Some(span) = span else { continue };
        for y in 0..area.height {
            let cell = filled(span, area.height, y);
            if let Some((level, is_kept)) = cell {
                let style = if is_kept {
                    look.output
                } else {
                    look.output_peak
                };
                let symbol = if look.ascii {
                    ascii_level(level, is_kept)
                } else {
                    block(level)
                };
                pen.put(AXIS + x as u16, y, symbol, style);
            }
        }
    }
}

/// The output of each cell.
fn held(drawn: &Columns, between: usize) -> Vec<Option<Span>> {
    let cell = |pair: &[Option<_>]| {
        let spans = pair
            .iter()
            .flatten()
            .map(|summary: &Summary| summary.output);
        spans.reduce(Span::then)
    };
    let known: Vec<Option<Span>> = drawn.columns.chunks(2).map(cell).collect();
    let mut held = known.clone();
    let mut last: Option<(usize, Span)> = None;
    for (x, span) in known.iter().enumerate() {
        let Some(span) = span else { continue };
        if let Some((before, value)) = last.filter(|(before, _)| x - before <= between + 1) {
            held[before + 1..x].fill(Some(Span::of(value.last)));
        }
        last = Some((x, *span));
    }
    held
}

/// How many eighths of a cell of the lane are filled, and whether with what was kept.
fn filled(span: Span, rows: u16, y: u16) -> Option<(u16, bool)> {
    let eighths = |percent: f32| {
        let part = (percent / 100.0).clamp(0.0, 1.0);
        (part * f32::from(rows * 8)).round() as i32 - i32::from((rows - 1 - y) * 8)
    };
    if !span.min.is_finite() {
        return None;
    }
    let (kept, reached) = (eighths(span.min), eighths(span.max));
    if kept > 0 {
        Some((kept.min(8) as u16, true))
    } else if reached > 0 {
        Some((reached.min(8) as u16, false))
    } else {
        None
    }
}

fn block(eighths: u16) -> &'static str {
    ["▁", "▂", "▃", "▄", "▅", "▆", "▇", "█"][usize::from(eighths.clamp(1, 8)) - 1]
}

fn ascii_level(eighths: u16, is_kept: bool) -> &'static str {
    match (is_kept, eighths) {
        (true, 4..) => "#",
        (false, 4..) => ":",
        _ => ".",
    }
}
