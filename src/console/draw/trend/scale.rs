//! Where times and values stand on the trend.

use super::curves::targets;
use crate::console::ticks::ValueTicks;
use crate::console::view::{LoopView, ScreenView, TimeWindow};
use crate::trend::{Columns, History, Span};

/// The picture moves on by this many cells at a time.
const STRIDE: f64 = 4.0;

/// The times that the columns of dots stand for.
pub(super) struct TimeScale {
    pub(super) from_s: f64,
    /// Of one column of dots; a cell has two.
    pub(super) width_s: f64,
    pub(super) dots: usize,
}

/// The values that the rows of dots stand for.
pub(super) struct ValueScale {
    pub(super) ticks: ValueTicks,
    pub(super) rows: u16,
}

/// Where a value lies that is not shown.
#[derive(Clone, Copy, Debug, PartialEq, Eq)]
pub(super) enum Side {
    Above,
    Below,
}

impl TimeScale {
    pub(super) fn of(view: &ScreenView, history: &History, cells: u16) -> Self {
        let TimeWindow { span_s, until_s } = view.window;
        let dots = usize::from(cells) * 2;
        let width_s = span_s / dots as f64;
        // Whole strides, so that the picture stands still in between.
        let unit_s = 2.0 * STRIDE * width_s;
        let (first_s, last_s) = history.extent().unwrap_or((view.now_s(), view.now_s()));
        let end_s = (until_s.unwrap_or(last_s) / unit_s).floor() * unit_s + unit_s;
        // A short record grows from left to right; it moves only once it has filled the picture.
        let first_s = (first_s / unit_s).floor() * unit_s;
        Self {
            from_s: first_s.max(end_s - span_s),
            width_s,
            dots,
        }
    }

    /// The column of dots of a time.
    pub(super) fn dot(&self, time_s: f64) -> f64 {
        (time_s - self.from_s) / self.width_s
    }

    /// The cell of a time, where it is on the picture.
    pub(super) fn cell(&self, time_s: f64) -> Option<u16> {
        let dot = self.dot(time_s);
        (dot >= 0.0 && dot < self.dots as f64).then_some(dot as u16 / 2)
    }
}

impl ValueScale {
    /// Everything that is shown, or `zoom` doublings closer about the setpoint.
    pub(super) fn of(drawn: &Columns, one: &LoopView, rows: u16, zoom: i32) -> Self {
        let least = 10_f64.powi(-(one.decimals.cast_signed()));
        let mut low = f64::INFINITY;
        let mut high = f64::NEG_INFINITY;
        let mut cover = |span: Span| {
            for value in [span.min, span.max].into_iter().filter(|v| v.is_finite()) {
                low = low.min(f64::from(value));
                high = high.max(f64::from(value));
            }
        };
        for summary in drawn.columns.iter().flatten() {
            cover(summary.pv);
            cover(summary.setpoint);
        }
        for edge in [drawn.before, drawn.after].into_iter().flatten() {
            cover(Span::of(edge.setpoint));
        }
        if low > high {
            (low, high) = (0.0, 100.0);
        }
        let last = targets(drawn).last().map(|(_, target)| target);
        if let (Some(band), Some(setpoint)) = (one.band, last) {
            // Two bands each way, so that a quiet loop looks quiet.
            low = low.min(setpoint - 2.0 * band);
            high = high.max(setpoint + 2.0 * band);
        }
        if zoom != 0 {
            let middle = last
                .filter(|_| zoom > 0)
                .unwrap_or(f64::midpoint(low, high));
            let half = (high - low) / 2.0 / 2_f64.powi(zoom);
            (low, high) = (middle - half, middle + half);
        }
        Self {
            ticks: ValueTicks::covering(low, high, rows, least),
            rows,
        }
    }

    /// Whether a value lies above or below what is shown.
    pub(super) fn outside(&self, value: f64) -> Option<Side> {
        let row = self.dot(value).round();
        if row < 0.0 {
            Some(Side::Above)
        } else if row >= 4.0 * f64::from(self.rows) {
            Some(Side::Below)
        } else {
            None
        }
    }

    /// The row of dots of a value, 0 at the top.
    pub(super) fn dot(&self, value: f64) -> f64 {
        let rows_up = (value - self.ticks.low) / self.ticks.per_row;
        // The middle of a row is its second and third dot; labels belong to the second.
        1.0 + 4.0 * (f64::from(self.rows) - 1.0 - rows_up)
    }
}
