//! The values of a loop: large digits, setpoint, deviation, output.

use ratatui::buffer::Buffer;
use ratatui::layout::Rect;

use super::pen::{Pen, fit, width};
use crate::console::digits::{Size, rows};
use crate::console::look::Look;
use crate::console::view::LoopView;
use crate::console::words::{UNKNOWN, lasting, number, signed};

/// Room for the plain process value beside the digits: seven characters of number, then its unit.
const VALUE: usize = 7;

/// Columns the values take with the words between them.
const IN_WORDS: u16 = 50;

/// Draws the strip of a loop that is shown alone; the area is as high as the digits.
pub(super) fn draw(buffer: &mut Buffer, area: Rect, one: &LoopView, look: &Look) {
    let size = if area.height >= 5 {
        Size::Five
    } else {
        Size::Three
    };
    let mut pen = Pen::new(buffer, area);
    let value = plain(one.pv, one.decimals);
    let mut x = 2;
    if !look.ascii {
        // As wide as five digits and a dot, so that what follows keeps its column.
        let large = rows(&format!("{value:>5}"), size, look.ascii);
        for (y, row) in large.iter().enumerate() {
            pen.put(2, y as u16, row, look.pv);
        }
        let least = if size == Size::Five { 40 } else { 20 };
        x = large.first().map_or(0, |row| width(row)).max(least) + 4;
    }
    let middle = area.height / 2;
    let x = x.min(area.width);
    values(&mut pen, x, middle, one, look);
    output(&mut pen, x, middle + 1, one, look);
    if let Some((age_s, last)) = one.last_value {
        let text = format!(
            "last value {} {} {} ago",
            number(last, one.decimals),
            one.unit,
            lasting(age_s)
        );
        pen.put(x, middle - 1, &text, look.trouble);
    } else {
        let room = area.width.saturating_sub(x + 1);
        pen.put(
            x,
            middle - 1,
            &fit(&one.doing.more, room, look.ascii),
            look.quiet,
        );
    }
}

fn values(pen: &mut Pen, x: u16, y: u16, one: &LoopView, look: &Look) {
    let is_narrow = pen.area().width.saturating_sub(x) < IN_WORDS;
    let value = plain(one.pv, one.decimals);
    let x = pen.put(
        x,
        y,
        &format!("{value:>VALUE$} "),
        look.pv.patch(look.strong),
    );
    let x = pen.put(x, y, one.unit, look.quiet);
    let (setpoint, off) = if is_narrow {
        (look.choose(" → ", " > "), "")
    } else {
        ("   setpoint ", "off by ")
    };
    let x = pen.put(x, y, setpoint, look.quiet);
    let target = plain(one.setpoint, one.decimals);
    let x = pen.put(x, y, &format!("{target:<VALUE$}"), look.setpoint) + 2;
    if let Some(deviation) = one.deviation() {
        let x = pen.put(x, y, off, look.quiet);
        pen.put(x, y, &deviation_text(deviation, one), look.strong);
    }
}

/// A deviation or another difference of process values, with its sign.
pub(super) fn deviation_text(deviation: f64, one: &LoopView) -> String {
    signed(deviation, one.decimals)
}

/// The output as a bar and a number.
pub(super) fn output(pen: &mut Pen, x: u16, y: u16, one: &LoopView, look: &Look) {
    let Some(output) = one.output else {
        pen.put(x, y, "output", look.quiet);
        pen.put(x + 9, y, UNKNOWN, look.quiet);
        return;
    };
    let x = pen.put(x, y, "output ", look.quiet);
    let room = pen.area().width.saturating_sub(x + 12).min(40);
    let (full, rest) = bar(output / 100.0, room, look);
    let x = pen.put(x + 1, y, &full, look.output);
    let x = pen.put(x, y, &rest, look.output_peak);
    let text = &format!("{:>6} %", number(output, 1));
    pen.put(x + 1, y, text, look.strong);
}

/// The filled and the empty part of a bar of so many cells.
pub(super) fn bar(part: f64, cells: u16, look: &Look) -> (String, String) {
    let cells = usize::from(cells);
    let halves = (part.clamp(0.0, 1.0) * (cells * 2) as f64).round() as usize;
    let mut full = look.choose("█", "#").repeat(halves / 2);
    let mut filled = halves / 2;
    if halves % 2 == 1 {
        full += look.choose("▌", "#");
        filled += 1;
    }
    (full, look.choose("░", ".").repeat(cells - filled))
}

/// A value, or the sign that it is not known.
pub(super) fn plain(value: Option<f64>, decimals: u32) -> String {
    value.map_or(UNKNOWN.to_owned(), |value| number(value, decimals))
}
