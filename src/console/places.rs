//! Where things were drawn, so that a mouse finds them.

use ratatui::layout::{Position, Rect};

/// What a picture shows where.
#[derive(Clone, Debug, Default, PartialEq)]
pub(super) struct Places {
    pub(super) plots: Vec<Plot>,
    /// The whole of each loop, with its index.
    pub(super) loops: Vec<(Rect, usize)>,
    /// Lines of help that did not fit.
    pub(super) help_below: u16,
}

/// A trend.
#[derive(Clone, Copy, Debug, PartialEq)]
pub(super) struct Plot {
    /// Its curves; the labels of the values are left of it.
    pub(super) curves: Rect,
    /// The labels of the values and the curves.
    pub(super) whole: Rect,
    /// The time of its left edge, in seconds since the clock began.
    pub(super) from_s: f64,
    /// Of one cell.
    pub(super) cell_s: f64,
}

impl Plot {
    /// The time in the middle of a column of cells; one beyond the picture is its edge.
    pub(super) fn time_s(&self, column: u16) -> f64 {
        let cells = column.saturating_sub(self.curves.x).min(self.curves.width);
        self.from_s + (f64::from(cells) + 0.5) * self.cell_s
    }
}

impl Places {
    pub(super) fn loop_at(&self, at: Position) -> Option<usize> {
        let found = self.loops.iter().find(|(area, _)| area.contains(at));
        found.map(|(_, index)| *index)
    }

    pub(super) fn plot_at(&self, at: Position) -> Option<Plot> {
        self.plots
            .iter()
            .find(|plot| plot.whole.contains(at))
            .copied()
    }
}
