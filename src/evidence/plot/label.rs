//! Where a label may stand: near what it names, on top of nothing.

use super::decimate::Point;

/// Pixel columns of a panel with the heights that are taken.
pub(super) struct Occupied {
    left: f64,
    top: f64,
    bottom: f64,
    columns: Vec<Vec<(f64, f64)>>,
}

/// A free rectangle for a label.
#[derive(Clone, Copy, Debug, PartialEq)]
pub(super) struct Place {
    pub(super) left: f64,
    pub(super) top: f64,
    pub(super) width: f64,
    pub(super) height: f64,
}

/// Room kept around labels and lines.
const MARGIN: f64 = 4.0;
/// Step of the search.
const GRID: f64 = 4.0;

impl Occupied {
    /// Nothing taken yet between these edges.
    pub(super) fn new(left: f64, right: f64, top: f64, bottom: f64) -> Self {
        let count = (right - left).max(0.0).ceil() as usize;
        Self {
            left,
            top,
            bottom,
            columns: vec![Vec::new(); count],
        }
    }

    /// A line takes the heights it passes through.
    pub(super) fn take_line(&mut self, line: &[Point]) {
        for pair in line.windows(2) {
            let ((x0, y0), (x1, y1)) = (pair[0], pair[1]);
            for column in self.span(x0, x1) {
                let middle = self.left + column as f64 + 0.5;
                let share = |x: f64| ((x - x0) / (x1 - x0).max(1e-9)).clamp(0.0, 1.0);
                let a = y0 + share(middle - 0.5) * (y1 - y0);
                let b = y0 + share(middle + 0.5) * (y1 - y0);
                self.columns[column].push((a.min(b), a.max(b)));
            }
        }
    }

    /// A label takes its rectangle.
    pub(super) fn take(&mut self, place: Place) {
        for column in self.span(place.left, place.left + place.width) {
            self.columns[column].push((place.top, place.top + place.height));
        }
    }

    /// The free place for a label nearest to its anchor; `None` when there is none at all.
    pub(super) fn find(&self, anchor: Point, width: f64, height: f64) -> Option<Place> {
        let right = self.left + self.columns.len() as f64;
        let across = steps(self.left + MARGIN, right - MARGIN - width);
        let mut best: Option<(f64, Place)> = None;
        for left in across {
            for top in steps(self.top + MARGIN, self.bottom - MARGIN - height) {
                let place = Place {
                    left,
                    top,
                    width,
                    height,
                };
                let far = place.distance(anchor);
                let nearer = best.is_none_or(|(nearest, _)| far < nearest);
                if nearer && self.is_free(place) {
                    best = Some((far, place));
                }
            }
        }
        best.map(|(_, place)| place)
    }

    fn is_free(&self, place: Place) -> bool {
        let (top, bottom) = (place.top - MARGIN, place.top + place.height + MARGIN);
        let right = place.left + place.width + MARGIN;
        self.span(place.left - MARGIN, right).all(|column| {
            self.columns[column]
                .iter()
                .all(|(from, to)| *to < top || *from > bottom)
        })
    }

    fn span(&self, from: f64, to: f64) -> std::ops::Range<usize> {
        let last = self.columns.len();
        let first = (from - self.left).floor().max(0.0) as usize;
        let end = ((to - self.left).floor().max(-1.0) + 1.0) as usize;
        first.min(last)..end.min(last)
    }
}

impl Place {
    /// How far a point is from the nearest edge; 0 inside. The middle counts a little, so that of
    /// two places that touch the point the centred one is taken.
    fn distance(&self, (x, y): Point) -> f64 {
        let (near_x, near_y) = self.nearest((x, y));
        let middle = (self.left + self.width / 2.0 - x).abs();
        (near_x - x).hypot(near_y - y) + 0.15 * middle
    }

    /// The point of the rectangle nearest to another.
    pub(super) fn nearest(&self, (x, y): Point) -> Point {
        (
            x.clamp(self.left, self.left + self.width),
            y.clamp(self.top, self.top + self.height),
        )
    }
}

fn steps(from: f64, to: f64) -> impl Iterator<Item = f64> {
    let count = ((to - from) / GRID).floor();
    let end = if count < 0.0 { 0 } else { count as usize + 1 };
    (0..end).map(move |place| from + place as f64 * GRID)
}

/// A generous guess of how wide a text is: system typefaces differ.
pub(super) fn text_width(text: &str, size: f64) -> f64 {
    text.chars()
        .map(|letter| match letter {
            '\u{202f}' => 0.25,
            ' ' | '.' | ',' | 'i' | 'l' | 't' | 'f' | 'r' => 0.38,
            'm' | 'w' | 'M' | 'W' | '%' => 0.95,
            _ => 0.63,
        })
        .sum::<f64>()
        * size
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn a_label_keeps_clear_of_lines_and_other_labels() {
        let mut taken = Occupied::new(0.0, 200.0, 0.0, 100.0);
        taken.take_line(&[(0.0, 50.0), (200.0, 50.0)]);
        let first = taken.find((100.0, 50.0), 60.0, 16.0).unwrap();
        assert!(first.top + first.height < 50.0 || first.top > 50.0);
        assert!((first.left + 30.0 - 100.0).abs() < GRID);
        taken.take(first);
        let second = taken.find((100.0, 50.0), 60.0, 16.0).unwrap();
        let apart = |a: f64, wide: f64, b: f64, other: f64| a + wide <= b || b + other <= a;
        assert!(
            apart(first.left, 60.0, second.left, 60.0) || apart(first.top, 16.0, second.top, 16.0)
        );
    }

    #[test]
    fn no_room_is_no_label() {
        let taken = Occupied::new(0.0, 40.0, 0.0, 100.0);
        assert_eq!(taken.find((10.0, 10.0), 60.0, 16.0), None);
    }
}
