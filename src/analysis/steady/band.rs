//! Time inside the band, and the times outside it.

use std::cmp::Reverse;
use std::collections::BinaryHeap;

use super::result::Excursion;

/// So many excursions are listed: the farthest.
const LISTED: usize = 1000;

/// A band about a value, and what the line between the samples does with it.
#[derive(Clone, Debug)]
pub(super) struct Band {
    around: f64,
    half_width: f64,
    open: Option<Open>,
    listed: BinaryHeap<Reverse<Farthest>>,
    count: u64,
}

/// An excursion that goes on.
#[derive(Clone, Copy, Debug)]
struct Open {
    start_s: f64,
    /// Farthest so far, with its sign.
    peak: f64,
}

/// Ordered by how far it went.
#[derive(Clone, Copy, Debug)]
struct Farthest(Excursion);

impl Ord for Farthest {
    fn cmp(&self, other: &Self) -> std::cmp::Ordering {
        let farther = self.0.peak.abs().total_cmp(&other.0.peak.abs());
        // Of two that are alike the earlier one is listed.
        farther.then(other.0.start_s.total_cmp(&self.0.start_s))
    }
}

impl PartialOrd for Farthest {
    fn partial_cmp(&self, other: &Self) -> Option<std::cmp::Ordering> {
        Some(self.cmp(other))
    }
}

impl PartialEq for Farthest {
    fn eq(&self, other: &Self) -> bool {
        self.cmp(other).is_eq()
    }
}

impl Eq for Farthest {}

impl Band {
    pub(super) fn new(around: f64, half_width: f64) -> Self {
        Self {
            around,
            half_width,
            open: None,
            listed: BinaryHeap::new(),
            count: 0,
        }
    }

    /// The first sample of a hold.
    pub(super) fn begin(&mut self, time_s: f64, value: f64) {
        let off = value - self.around;
        if off.abs() > self.half_width {
            self.open = Some(Open {
                start_s: time_s,
                peak: off,
            });
        }
    }

    /// The hold ended with the sample at this time.
    pub(super) fn end(&mut self, time_s: f64) {
        self.close(time_s);
    }

    /// The lines from `before` through all samples; how long they were inside.
    pub(super) fn inside_s(&mut self, before: (f64, f64), times: &[f64], values: &[f64]) -> f64 {
        let mut inside = 0.0;
        let (mut t0, mut d0) = (before.0, before.1 - self.around);
        for (t1, value) in times.iter().zip(values) {
            let d1 = value - self.around;
            if d0.abs() <= self.half_width && d1.abs() <= self.half_width {
                inside += t1 - t0;
            } else {
                inside += self.crossing((t0, d0), (*t1, d1));
            }
            (t0, d0) = (*t1, d1);
        }
        inside
    }

    /// A line that is outside at one end at least; how long it is inside.
    fn crossing(&mut self, (t0, d0): (f64, f64), (t1, d1): (f64, f64)) -> f64 {
        let half_width = self.half_width;
        let edge = |towards: f64| t0 + (half_width.copysign(towards) - d0) * (t1 - t0) / (d1 - d0);
        let is_out = |d: f64| d.abs() > half_width;
        let comes_in = if is_out(d0) && (!is_out(d1) || d0 * d1 < 0.0) {
            edge(d0)
        } else {
            t0
        };
        let goes_out = if is_out(d1) && (!is_out(d0) || d0 * d1 < 0.0) {
            edge(d1)
        } else {
            t1
        };
        match (is_out(d0), is_out(d1)) {
            (true, true) if d0 * d1 > 0.0 => {
                self.farther(d1);
                return 0.0;
            }
            (true, _) => self.close(comes_in),
            _ => {}
        }
        if is_out(d1) {
            self.open = Some(Open {
                start_s: goes_out,
                peak: d1,
            });
        }
        goes_out - comes_in
    }

    fn farther(&mut self, off: f64) {
        if let Some(open) = &mut self.open
            && off.abs() > open.peak.abs()
        {
            open.peak = off;
        }
    }

    fn close(&mut self, time_s: f64) {
        let Some(open) = self.open.take() else {
            return;
        };
        self.count += 1;
        self.listed.push(Reverse(Farthest(Excursion {
            start_s: open.start_s,
            duration_s: time_s - open.start_s,
            peak: open.peak,
        })));
        if self.listed.len() > LISTED {
            self.listed.pop();
        }
    }

    /// The excursions in order, and how many there were in all.
    pub(super) fn excursions(self) -> (Vec<Excursion>, u64) {
        let listed = self.listed.into_iter();
        let mut all: Vec<Excursion> = listed.map(|Reverse(Farthest(it))| it).collect();
        all.sort_by(|a, b| a.start_s.total_cmp(&b.start_s));
        (all, self.count)
    }
}

#[cfg(test)]
#[expect(clippy::float_cmp, reason = "these figures are exact in binary")]
mod tests {
    use super::*;

    fn over(values: &[f64]) -> (f64, Vec<Excursion>) {
        let times: Vec<f64> = (0..values.len()).map(|i| 10.0 * i as f64).collect();
        let mut band = Band::new(100.0, 2.0);
        band.begin(times[0], values[0]);
        let inside = band.inside_s((times[0], values[0]), &times[1..], &values[1..]);
        band.end(*times.last().unwrap());
        (inside, band.excursions().0)
    }

    #[test]
    fn time_is_that_of_the_lines_not_of_the_samples() {
        // Up from 100 to 104 and back: outside from the middle of the first line to that of the second.
        let (inside, excursions) = over(&[100.0, 104.0, 100.0]);
        let peak = Excursion {
            start_s: 5.0,
            duration_s: 10.0,
            peak: 4.0,
        };
        assert_eq!((inside, excursions), (10.0, vec![peak]));
    }

    #[test]
    fn a_line_right_through_the_band_is_inside_on_its_way() {
        // From +4 to -4 in 10 s: between +2 and -2 for 5 s.
        let (inside, excursions) = over(&[104.0, 96.0]);
        let found: Vec<_> = excursions
            .iter()
            .map(|it| (it.start_s, it.duration_s, it.peak))
            .collect();
        assert_eq!(inside, 5.0);
        assert_eq!(found, [(0.0, 2.5, 4.0), (7.5, 2.5, -4.0)]);
    }

    #[test]
    fn only_the_farthest_of_very_many_are_listed() {
        let mut band = Band::new(0.0, 1.0);
        for (start, far) in (0..1500).map(|i| (10.0 * f64::from(i), 2.0 + f64::from(i % 7))) {
            band.begin(start, far);
            band.end(start + 1.0);
        }
        let (listed, count) = band.excursions();
        assert_eq!((listed.len(), count), (LISTED, 1500));
        let least = listed.iter().map(|it| it.peak).fold(f64::MAX, f64::min);
        assert_eq!(
            least, 4.0,
            "1500 / 7 of each: the upper five of seven sizes"
        );
        assert!(
            listed
                .windows(2)
                .all(|pair| pair[0].start_s < pair[1].start_s)
        );
    }
}
