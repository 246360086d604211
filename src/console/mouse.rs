//! What the mouse does: nothing that a key does not do too.

use ratatui::crossterm::event::{MouseButton, MouseEvent, MouseEventKind};
use ratatui::layout::Position;

use super::app::{App, SPANS};
use super::cursor::Cursor;
use super::places::Plot;
use super::view::Open;

impl App {
    /// Takes the mouse in; says whether the screen may look different now.
    ///
    /// A click on a trend puts the cursor there, dragging on makes a second one for the difference;
    /// the wheel shows less or more time, over the labels of the values less or more of these. A click
    /// on a loop selects it, another one opens it.
    pub fn on_mouse(&mut self, event: MouseEvent) -> bool {
        if !matches!(self.open, Open::Nothing) {
            return false;
        }
        let at = Position::new(event.column, event.row);
        match event.kind {
            MouseEventKind::ScrollUp => self.on_wheel(at, -1),
            MouseEventKind::ScrollDown => self.on_wheel(at, 1),
            MouseEventKind::Down(MouseButton::Left) => self.on_click(at),
            MouseEventKind::Drag(MouseButton::Left) => self.on_drag(at),
            _ => false,
        }
    }

    fn on_wheel(&mut self, at: Position, by: i32) -> bool {
        let Some(plot) = self.places.plot_at(at) else {
            return false;
        };
        if plot.curves.contains(at) {
            self.zoom_about(plot.time_s(at.x), by);
        } else {
            self.zoom_values(-by);
        }
        true
    }

    /// Less or more time; while the picture stands still, this moment keeps its place.
    pub(super) fn zoom_about(&mut self, time_s: f64, by: i32) {
        let before_s = SPANS[self.span_index()];
        self.zoom(by as isize);
        let after_s = SPANS[self.span_index()];
        if let Some(until_s) = self.until_s {
            let until_s = time_s + (until_s - time_s) * after_s / before_s;
            self.until_s = Some(until_s.max(self.start_s() + after_s.min(before_s)));
        }
    }

    fn on_click(&mut self, at: Position) -> bool {
        if self.alone.is_none()
            && let Some(index) = self.places.loop_at(at)
            && self.selected() != index
        {
            self.chosen = Some(index);
            return true;
        }
        if let Some(plot) = self.curves_at(at) {
            self.cursor = None;
            self.put_cursor_in(plot, at);
            return true;
        }
        let found = self.places.loop_at(at).filter(|_| self.alone.is_none());
        self.alone = self.alone.or(found);
        found.is_some()
    }

    /// The cursor stays where the button went down; the other one follows the mouse.
    fn on_drag(&mut self, at: Position) -> bool {
        let Some((plot, cursor)) = self.curves_at(at).zip(self.cursor) else {
            return false;
        };
        self.cursor = Some(Cursor {
            from_s: cursor.from_s.or(Some(cursor.at_s)),
            ..cursor
        });
        self.put_cursor_in(plot, at);
        true
    }

    /// In the middle of the cell, or where the process value turns in it.
    fn put_cursor_in(&mut self, plot: Plot, at: Position) {
        let middle_s = plot.time_s(at.x);
        let half_s = plot.cell_s / 2.0;
        let turns = self.extreme_between(middle_s - half_s, middle_s + half_s);
        self.put_cursor(turns.unwrap_or(middle_s));
    }

    fn curves_at(&self, at: Position) -> Option<Plot> {
        let plot = self.places.plot_at(at)?;
        plot.curves.contains(at).then_some(plot)
    }
}
