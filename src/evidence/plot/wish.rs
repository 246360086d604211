//! A label that wants to stand near something.

use super::curve::path;
use super::decimate::Point;
use super::label::{Occupied, Place, text_width};
use super::panel::write_at;
use super::size::Size;
use crate::evidence::markup::{Markup, Px};

/// A label farther than this from what it names gets a line to it.
const NEAR: f64 = 14.0;

/// A label and what it names.
pub(super) struct Wish {
    /// What it names, in pixels.
    pub(super) anchor: Point,
    /// What it would like to say, then what it says where that finds no room.
    pub(super) texts: Vec<String>,
    /// Class of the text: whose it is.
    pub(super) class: &'static str,
    pub(super) bold: bool,
    /// Whether the anchor itself is worth a dot.
    pub(super) dot: bool,
}

impl Wish {
    /// Writes the first text that finds room; nothing when none does.
    pub(super) fn draw(&self, svg: &mut Markup, taken: &mut Occupied, size: Size) {
        let room = self
            .texts
            .iter()
            .find_map(|text| Some((text, self.place(text, taken, size)?)));
        if self.dot {
            self.draw_dot(svg);
        }
        let reach = self.reach(size);
        let Some((text, place)) = room.filter(|(_, place)| self.distance(*place) <= reach) else {
            return;
        };
        taken.take(place);
        self.draw_leader(svg, place);
        let bold = if self.bold { " bold" } else { "" };
        let class = format!("label middle {}{bold}", self.class);
        let middle = place.left + place.width / 2.0;
        write_at(svg, &class, middle, place.top + place.height - 4.0, text);
    }

    fn place(&self, text: &str, taken: &Occupied, size: Size) -> Option<Place> {
        let wider = if self.bold { 1.06 } else { 1.0 };
        let width = wider * text_width(text, size.font);
        taken.find(self.anchor, width, size.font + 2.0)
    }

    fn draw_dot(&self, svg: &mut Markup) {
        svg.leaf(
            "circle",
            &[
                ("class", &format!("dot {}", self.class)),
                ("cx", &Px(self.anchor.0)),
                ("cy", &Px(self.anchor.1)),
                ("r", &"3.5"),
            ],
        );
    }

    /// A name may stand anywhere; anything else only where it is seen what it is about.
    fn reach(&self, size: Size) -> f64 {
        if self.bold {
            f64::INFINITY
        } else {
            6.0 * size.font
        }
    }

    fn distance(&self, place: Place) -> f64 {
        let near = place.nearest(self.anchor);
        (near.0 - self.anchor.0).hypot(near.1 - self.anchor.1)
    }

    fn draw_leader(&self, svg: &mut Markup, place: Place) {
        let near = place.nearest(self.anchor);
        if self.dot && self.distance(place) > NEAR {
            let d = path(&[vec![self.anchor, near]]);
            let class = format!("leader {}", self.class);
            svg.leaf("path", &[("class", &class), ("d", &d)]);
        }
    }
}
