//! A rectangle of a picture with two scales, its axes and its grid.

use super::scale::{Scale, TimeTicks, ticks};
use crate::evidence::format;
use crate::evidence::markup::{Markup, Px};

/// A rectangle with a time scale and a value scale.
pub(super) struct Panel {
    /// Seconds to pixels.
    pub(super) x: Scale,
    /// Values to pixels; the larger value stands higher, at the smaller pixel.
    pub(super) y: Scale,
}

impl Panel {
    pub(super) fn left(&self) -> f64 {
        self.x.pixels.0
    }

    pub(super) fn right(&self) -> f64 {
        self.x.pixels.1
    }

    pub(super) fn top(&self) -> f64 {
        self.y.pixels.1
    }

    pub(super) fn bottom(&self) -> f64 {
        self.y.pixels.0
    }

    /// The rectangle itself, as an SVG `rect` of a class.
    pub(super) fn rectangle(&self, svg: &mut Markup, class: &str) {
        svg.leaf(
            "rect",
            &[
                ("class", &class),
                ("x", &Px(self.left())),
                ("y", &Px(self.top())),
                ("width", &Px(self.right() - self.left())),
                ("height", &Px(self.bottom() - self.top())),
            ],
        );
    }

    /// Grid lines and labels of the value axis.
    pub(super) fn value_axis(&self, svg: &mut Markup, most: usize) {
        let marks = ticks(self.y.values.0, self.y.values.1, most);
        for value in &marks.at {
            let y = self.y.at(*value);
            self.rule(svg, "grid", y);
            let label = format::fixed(*value, marks.decimals);
            write_at(svg, "tick end", self.left() - 8.0, y + 4.5, &label);
        }
    }

    /// A line across at a height.
    pub(super) fn rule(&self, svg: &mut Markup, class: &str, y: f64) {
        svg.leaf(
            "path",
            &[
                ("class", &class),
                (
                    "d",
                    &format!("M{} {}H{}", Px(self.left()), Px(y), Px(self.right())),
                ),
            ],
        );
    }

    /// A line from top to bottom at a time.
    pub(super) fn upright(&self, svg: &mut Markup, class: &str, x: f64) {
        svg.leaf(
            "path",
            &[
                ("class", &class),
                (
                    "d",
                    &format!("M{} {}V{}", Px(x), Px(self.top()), Px(self.bottom())),
                ),
            ],
        );
    }

    /// Grid lines of the time axis.
    pub(super) fn time_grid(&self, svg: &mut Markup, marks: &TimeTicks) {
        for time in &marks.at {
            let class = if *time == 0.0 { "grid zero" } else { "grid" };
            self.upright(svg, class, self.x.at(*time));
        }
    }

    /// Labels of the time axis, below the panel, and what they count.
    pub(super) fn time_labels(&self, svg: &mut Markup, marks: &TimeTicks, title: &str) {
        let whole = marks
            .at
            .iter()
            .all(|t| (t / marks.unit_s).fract().abs() < 1e-6);
        let decimals = usize::from(!whole);
        for time in &marks.at {
            let label = format::fixed(time / marks.unit_s, decimals);
            write_at(
                svg,
                "tick middle",
                self.x.at(*time),
                self.bottom() + 20.0,
                &label,
            );
        }
        write_at(svg, "axis end", self.right(), self.bottom() + 40.0, title);
    }

    /// A panel title above its upper left corner.
    pub(super) fn title(&self, svg: &mut Markup, title: &str) {
        write_at(svg, "axis", self.left(), self.top() - 9.0, title);
    }
}

/// A text of a class at a place.
pub(super) fn write_at(svg: &mut Markup, class: &str, x: f64, y: f64, text: &str) {
    svg.words(
        "text",
        &[("class", &class), ("x", &Px(x)), ("y", &Px(y))],
        text,
    );
}
