//! A few loops side by side.

use ratatui::buffer::Buffer;
use ratatui::layout::{Constraint, Layout, Rect};

use super::bars::tone_style;
use super::pen::{Pen, fit};
use super::readout;
use super::strip::{deviation_text, plain};
use super::trend;
use crate::console::doing::Tone;
use crate::console::places::{Places, Plot};
use crate::console::view::{LoopView, ScreenView};
use crate::console::words::number;

/// Draws up to four loops, two by two; gives where they are.
pub(super) fn draw(buffer: &mut Buffer, area: Rect, view: &ScreenView) -> Places {
    let mut places = Places::default();
    let rows = view.loops.len().div_ceil(2).max(1);
    let heights = Layout::vertical(vec![Constraint::Fill(1); rows]).split(area);
    for (row, (pair, area)) in view.loops.chunks(2).zip(heights.iter()).enumerate() {
        let columns = Layout::horizontal([Constraint::Fill(1), Constraint::Fill(1)])
            .spacing(2)
            .split(*area);
        for (i, (one, area)) in pair.iter().zip(columns.iter()).enumerate() {
            let index = row * 2 + i;
            let plot = tile(buffer, *area, view, one, index == view.selected());
            places.plots.extend(plot);
            places.loops.push((*area, index));
        }
    }
    places
}

fn tile(
    buffer: &mut Buffer,
    area: Rect,
    view: &ScreenView,
    one: &LoopView,
    is_selected: bool,
) -> Option<Plot> {
    let [top, plot, lane, axis] = Layout::vertical([
        Constraint::Length(2),
        Constraint::Fill(1),
        Constraint::Length(1),
        Constraint::Length(2),
    ])
    .areas(area);
    let look = view.look;
    let mut pen = Pen::new(buffer, top);
    let sign = if is_selected {
        look.choose("▸", ">")
    } else {
        " "
    };
    pen.put(0, 0, sign, look.strong);
    let x = pen.put(1, 0, one.name, look.strong) + 2;
    let (sentence, style) = match view.cursor {
        Some(cursor) => (readout::short(view, one, cursor), look.bar),
        None if one.doing.tone == Tone::Tuning && !one.doing.more.is_empty() => {
            (format!("autotune, {}", one.doing.more), look.mark)
        }
        None => (one.doing.text.clone(), tone_style(look, one.doing.tone)),
    };
    let room = area.width.saturating_sub(x);
    pen.put(x, 0, &fit(&sentence, room, look.ascii), style);
    values(&mut pen, one, view);
    trend::draw_parts(buffer, [plot, lane, axis], view, one)
}

/// The values now, or where the cursor is.
fn values(pen: &mut Pen, one: &LoopView, view: &ScreenView) {
    let look = view.look;
    let now = [one.pv, one.setpoint, one.output];
    let [pv, setpoint, output] = view.cursor.map_or(now, |cursor| one.at(cursor.at_s));
    let value = &plain(pv, one.decimals);
    let x = pen.put(1, 1, &format!("{value:>7} "), look.pv.patch(look.strong));
    let x = pen.put(x, 1, one.unit, look.quiet) + 1;
    let x = pen.put(x, 1, look.choose("→ ", "> "), look.quiet);
    let target = &plain(setpoint, one.decimals);
    let x = pen.put(x, 1, &format!("{target:<7}"), look.setpoint);
    let off = pv.zip(setpoint).map(|(pv, setpoint)| pv - setpoint);
    let off = off.map_or(String::new(), |d| deviation_text(d, one));
    pen.put(x, 1, &format!("{off:>7}"), look.strong);
    if let Some(output) = output {
        let text = &format!("{} %", number(output, 0));
        pen.put_right(0, 1, text, look.output);
    }
}
