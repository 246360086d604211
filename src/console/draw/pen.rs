//! Text inside an area, cut where the area ends.

use ratatui::buffer::Buffer;
use ratatui::layout::Rect;
use ratatui::style::Style;
use unicode_width::UnicodeWidthStr;

/// Writes into an area of a buffer; positions count from the area's top left.
pub(super) struct Pen<'a> {
    buffer: &'a mut Buffer,
    area: Rect,
}

impl<'a> Pen<'a> {
    pub(super) fn new(buffer: &'a mut Buffer, area: Rect) -> Self {
        let area = area.intersection(buffer.area);
        Self { buffer, area }
    }

    /// Writes a text; gives the column after it.
    pub(super) fn put(&mut self, x: u16, y: u16, text: &str, style: Style) -> u16 {
        if x >= self.area.width || y >= self.area.height {
            return x;
        }
        let room = usize::from(self.area.width - x);
        let (after, _) =
            self.buffer
                .set_stringn(self.area.x + x, self.area.y + y, text, room, style);
        after - self.area.x
    }

    /// Writes a text that ends at the area's right edge less `margin`; gives its first column.
    pub(super) fn put_right(&mut self, margin: u16, y: u16, text: &str, style: Style) -> u16 {
        let x = self.area.width.saturating_sub(width(text) + margin);
        self.put(x, y, text, style);
        x
    }

    /// Gives every cell of a row a style.
    pub(super) fn tint(&mut self, y: u16, style: Style) {
        if y < self.area.height {
            let row = Rect::new(self.area.x, self.area.y + y, self.area.width, 1);
            self.buffer.set_style(row, style);
        }
    }

    /// Writes a character where there is nothing yet; says whether there was room.
    pub(super) fn put_behind(&mut self, x: u16, y: u16, symbol: &str, style: Style) -> bool {
        let free = self.is_free(x, y, 1);
        if free {
            self.put(x, y, symbol, style);
        }
        free
    }

    /// Whether so many cells from here on are inside and empty.
    pub(super) fn is_free(&self, x: u16, y: u16, cells: u16) -> bool {
        self.holds_only(x, y, cells, " ")
    }

    /// Whether so many cells from here on are inside, and each empty or with this symbol.
    pub(super) fn holds_only(&self, x: u16, y: u16, cells: u16, symbol: &str) -> bool {
        let inside = x + cells <= self.area.width && y < self.area.height;
        let holds = |x: u16| {
            let here = self.buffer[(self.area.x + x, self.area.y + y)].symbol();
            here == " " || here == symbol
        };
        inside && (x..x + cells).all(holds)
    }

    pub(super) fn area(&self) -> Rect {
        self.area
    }
}

/// Columns a text takes.
pub(super) fn width(text: &str) -> u16 {
    text.width() as u16
}

/// A text cut to so many columns, with a sign that it was cut.
pub(super) fn fit(text: &str, columns: u16, ascii: bool) -> String {
    if width(text) <= columns {
        return text.to_owned();
    }
    let sign = if ascii { "~" } else { "…" };
    let mut out = String::new();
    for character in text.chars() {
        out.push(character);
        if width(&out) + 1 > columns {
            out.pop();
            break;
        }
    }
    out + if columns > 0 { sign } else { "" }
}
