//! A grid of dots, eight to a cell, drawn as braille patterns.

use ratatui::buffer::Buffer;
use ratatui::layout::Rect;
use ratatui::style::Style;

/// Dots of one cell, by column and row, as bits of the code points from U+2800 on (Unicode 15.0,
/// Braille Patterns).
const DOTS: [[u8; 4]; 2] = [[0x01, 0x02, 0x04, 0x40], [0x08, 0x10, 0x20, 0x80]];

/// What a dot belongs to; where several meet in one cell, the greatest gives the cell its style.
#[derive(Clone, Copy, Debug, PartialEq, Eq, PartialOrd, Ord)]
pub(super) enum Ink {
    /// Nothing yet.
    None,
    /// Edge of the band.
    Band,
    /// Setpoint.
    Setpoint,
    /// Process value.
    Pv,
}

/// Dots over an area of cells.
pub(super) struct Pixels {
    area: Rect,
    cells: Vec<(u8, Ink)>,
}

impl Pixels {
    /// No dots over an area.
    pub(super) fn over(area: Rect) -> Self {
        Self {
            area,
            cells: vec![(0, Ink::None); usize::from(area.width) * usize::from(area.height)],
        }
    }

    /// Columns of dots.
    pub(super) fn width(&self) -> usize {
        usize::from(self.area.width) * 2
    }

    /// Rows of dots.
    pub(super) fn height(&self) -> usize {
        usize::from(self.area.height) * 4
    }

    /// Sets a dot, counted from the top left; nothing outside the area.
    pub(super) fn dot(&mut self, x: isize, y: isize, ink: Ink) {
        let (Ok(x), Ok(y)) = (usize::try_from(x), usize::try_from(y)) else {
            return;
        };
        if x < self.width() && y < self.height() {
            let cell = &mut self.cells[y / 4 * usize::from(self.area.width) + x / 2];
            cell.0 |= DOTS[x % 2][y % 4];
            cell.1 = cell.1.max(ink);
        }
    }

    /// Sets the dots of a column from one row to another, in either order.
    pub(super) fn column(&mut self, x: isize, from: isize, to: isize, ink: Ink) {
        let last = self.height().cast_signed() - 1;
        let (top, bottom) = (from.min(to).max(0), from.max(to).min(last));
        for y in top..=bottom {
            self.dot(x, y, ink);
        }
    }

    /// Sets the dots of a line, without holes; steep parts are split half and half between columns.
    pub(super) fn line(&mut self, from: (f64, f64), to: (f64, f64), ink: Ink) {
        let (first, last) = (from.0.round() as isize, to.0.round() as isize);
        let slope = (to.1 - from.1) / (to.0 - from.0).max(f64::MIN_POSITIVE);
        // A point half-way between two rows belongs to the row it comes from.
        let row = |y: f64| (y - slope.signum() * 1e-6).round() as isize;
        let at = |x: f64| from.1 + slope * (x - from.0).clamp(0.0, to.0 - from.0);
        let mut before: Option<isize> = None;
        for x in first.max(0)..=last.min(self.width().cast_signed() - 1) {
            let end = if x == last {
                to.1.round() as isize
            } else {
                row(at(x as f64 + 0.5))
            };
            let start = match before {
                None => row(at(x as f64 - 0.5)),
                Some(before) => before + (end - before).signum(),
            };
            self.column(x, start, end, ink);
            before = Some(end);
        }
    }

    /// Puts the cells that have dots into a buffer.
    pub(super) fn render(&self, buffer: &mut Buffer, ascii: bool, style: impl Fn(Ink) -> Style) {
        for (cell, position) in self.cells.iter().zip(self.area.positions()) {
            let (dots, ink) = *cell;
            if dots != 0 {
                let symbol = if ascii { in_ascii(ink) } else { braille(dots) };
                buffer[position].set_char(symbol).set_style(style(ink));
            }
        }
    }
}

fn braille(dots: u8) -> char {
    char::from_u32(0x2800 + u32::from(dots)).unwrap_or(' ')
}

fn in_ascii(ink: Ink) -> char {
    match ink {
        Ink::Pv => '*',
        Ink::Setpoint => '-',
        Ink::Band | Ink::None => '.',
    }
}

#[cfg(test)]
mod tests {
    use super::*;

    fn drawn(draw: impl Fn(&mut Pixels)) -> Vec<String> {
        let area = Rect::new(0, 0, 4, 2);
        let mut pixels = Pixels::over(area);
        draw(&mut pixels);
        let mut buffer = Buffer::empty(area);
        pixels.render(&mut buffer, false, |_| Style::new());
        (0..2)
            .map(|y| (0..4).map(|x| buffer[(x, y)].symbol()).collect())
            .collect()
    }

    #[test]
    fn a_falling_line_has_no_holes() {
        let rows = drawn(|p| p.line((0.0, 0.0), (7.0, 7.0), Ink::Pv));
        assert_eq!(rows, ["⠑⢄  ", "  ⠑⢄"]);
    }

    #[test]
    fn a_steep_line_has_no_holes() {
        let rows = drawn(|p| p.line((2.0, 7.0), (3.0, 0.0), Ink::Pv));
        assert_eq!(rows, [" ⢸  ", " ⡇  "]);
    }

    #[test]
    fn what_lies_outside_is_cut() {
        let rows = drawn(|p| p.line((-50.0, 3.0), (50.0, 3.0), Ink::Pv));
        assert_eq!(rows, ["⣀⣀⣀⣀", "    "]);
    }
}
