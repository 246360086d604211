//! Percentiles, least and greatest.

use super::sketch::Sketch;

/// So many different values are counted one by one.
const DIFFERENT: usize = 1 << 16;
/// Places of the table, twice as many, so that a free one is near.
const PLACES: usize = 2 * DIFFERENT;
/// Spreads the bits of a number over the table (Knuth, The Art of Computer Programming, vol. 3, 6.4:
/// 2^64 over the golden ratio, odd).
const SPREAD: u64 = 0x9E37_79B9_7F4A_7C15;

/// Ranks of all values: exact as long as there are few different ones, else by [`Sketch`].
#[derive(Clone, Debug)]
pub(super) struct Quantiles {
    counted: Counted,
    sketch: Option<Sketch>,
    count: u64,
    least: f64,
    greatest: f64,
}

/// How often each value was there: an open table.
#[derive(Clone, Debug, Default)]
struct Counted {
    places: Vec<(f64, u64)>,
    different: usize,
}

impl Default for Quantiles {
    fn default() -> Self {
        Self {
            counted: Counted {
                places: vec![(0.0, 0); PLACES],
                different: 0,
            },
            sketch: None,
            count: 0,
            least: f64::INFINITY,
            greatest: f64::NEG_INFINITY,
        }
    }
}

impl Counted {
    /// Counts a value; `false` when there is no room for another one.
    #[inline]
    fn count(&mut self, value: f64) -> bool {
        // Adding 0 makes the negative zero the other one.
        let value = value + 0.0;
        let mut at =
            (value.to_bits().wrapping_mul(SPREAD) >> (64 - PLACES.trailing_zeros())) as usize;
        loop {
            let place = &mut self.places[at % PLACES];
            if place.1 > 0 && place.0.to_bits() == value.to_bits() {
                place.1 += 1;
                return true;
            }
            if place.1 == 0 {
                if self.different == DIFFERENT {
                    return false;
                }
                self.different += 1;
                *place = (value, 1);
                return true;
            }
            at += 1;
        }
    }

    fn all(&self) -> impl Iterator<Item = (f64, u64)> {
        self.places.iter().copied().filter(|(_, count)| *count > 0)
    }
}

impl Quantiles {
    pub(super) fn add(&mut self, values: &[f64]) {
        self.count += values.len() as u64;
        for value in values {
            self.least = self.least.min(*value);
            self.greatest = self.greatest.max(*value);
            match &mut self.sketch {
                Some(sketch) => sketch.add(*value),
                None if self.counted.count(*value) => {}
                None => self.begin_sketch(*value),
            }
        }
    }

    fn begin_sketch(&mut self, value: f64) {
        let mut sketch = Sketch::default();
        for (value, times) in self.counted.all() {
            sketch.add_times(value, times);
        }
        sketch.add(value);
        self.counted = Counted::default();
        self.sketch = Some(sketch);
    }

    /// Whether every value was counted.
    pub(super) fn is_exact(&self) -> bool {
        self.sketch.is_none()
    }

    pub(super) fn least(&self) -> Option<f64> {
        (self.count > 0).then_some(self.least)
    }

    pub(super) fn greatest(&self) -> Option<f64> {
        (self.count > 0).then_some(self.greatest)
    }

    /// The percentiles of these shares (0 to 1) by type 7; `None` of nothing.
    pub(super) fn shares<const N: usize>(&self, shares: [f64; N]) -> [Option<f64>; N] {
        if self.count == 0 {
            return [None; N];
        }
        let mut values: Vec<(f64, u64)> = match &self.sketch {
            Some(sketch) => sketch.weighted(),
            None => self.counted.all().collect(),
        };
        values.sort_unstable_by(|a, b| a.0.total_cmp(&b.0));
        shares.map(|share| type_7(&values, self.count, share))
    }
}

/// Between the neighbours of place share (n - 1), counted from 0.
fn type_7(values: &[(f64, u64)], count: u64, share: f64) -> Option<f64> {
    let place = share * (count - 1) as f64;
    let low = nth(values, place.floor() as u64)?;
    let high = nth(values, place.ceil() as u64)?;
    Some(low + (high - low) * place.fract())
}

fn nth(values: &[(f64, u64)], at: u64) -> Option<f64> {
    let mut below = 0;
    let found = values.iter().find(|(_, count)| {
        below += count;
        below > at
    });
    found.or(values.last()).map(|(value, _)| *value)
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn a_percentile_lies_between_its_neighbours() {
        // Type 7 of 1, 2, 3, 4: the median is 2.5, a tenth is at place 0.3.
        let mut quantiles = Quantiles::default();
        quantiles.add(&[4.0, 1.0, 3.0, 2.0]);
        assert_eq!(quantiles.shares([0.5, 0.1]), [Some(2.5), Some(1.3)]);
        assert_eq!(
            (quantiles.least(), quantiles.greatest()),
            (Some(1.0), Some(4.0))
        );
    }

    #[test]
    fn ranks_of_a_million_different_values_are_within_a_thousandth() {
        // 0 to 999,999 in an order that jumps about (a full cycle of a linear congruence).
        let count = 1_000_000_u64;
        let mut quantiles = Quantiles::default();
        let values: Vec<f64> = (0..count).map(|i| (i * 370_261 % count) as f64).collect();
        quantiles.add(&values);
        assert!(!quantiles.is_exact());
        for share in [0.01, 0.05, 0.5, 0.95, 0.99] {
            let [found] = quantiles.shares([share]);
            let off = (found.unwrap() / count as f64 - share).abs();
            assert!(off < 0.001, "{share}: {off}");
        }
    }

    #[test]
    fn sorted_values_are_no_harder_than_others() {
        let mut quantiles = Quantiles::default();
        let values: Vec<f64> = (0..500_000).map(f64::from).collect();
        quantiles.add(&values);
        let [median] = quantiles.shares([0.5]);
        assert!((median.unwrap() - 250_000.0).abs() < 500.0, "{median:?}");
    }
}
