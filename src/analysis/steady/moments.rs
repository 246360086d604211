//! Mean, standard deviation and lag-1 autocorrelation in one pass.

use super::sum::Sum;

/// Sums about a centre that is near the mean: nothing cancels.
#[derive(Clone, Debug, Default)]
pub(super) struct Moments {
    centre: Option<f64>,
    count: u64,
    sum: Sum,
    squares: Sum,
    /// Of neighbours.
    products: Sum,
    pairs: u64,
    /// First and last values of the unbroken chains of neighbours.
    ends: Sum,
    last: Option<f64>,
}

impl Moments {
    /// Values that follow each other; the first follows the last one before unless `breaks`.
    pub(super) fn add(&mut self, values: &[f64], breaks: bool) {
        let Some(first) = values.first() else {
            return;
        };
        let rough = || values.iter().sum::<f64>() / values.len() as f64;
        let centre = *self.centre.get_or_insert_with(rough);
        if breaks {
            self.break_chain();
        }
        let (mut before, seconds) = match self.last {
            Some(before) => (before, values),
            None => (self.begin_chain(first - centre), &values[1..]),
        };
        for value in seconds {
            let off = value - centre;
            self.sum.add(off);
            self.squares.add(off * off);
            self.products.add(before * off);
            before = off;
        }
        self.count += seconds.len() as u64;
        self.pairs += seconds.len() as u64;
        self.last = Some(before);
    }

    fn begin_chain(&mut self, off: f64) -> f64 {
        self.count += 1;
        self.ends.add(off);
        self.sum.add(off);
        self.squares.add(off * off);
        off
    }

    fn break_chain(&mut self) {
        if let Some(last) = self.last.take() {
            self.ends.add(last);
        }
    }

    pub(super) fn count(&self) -> u64 {
        self.count
    }

    /// The centre that was chosen; 0 before there is a value.
    pub(super) fn centre(&self) -> f64 {
        self.centre.unwrap_or_default()
    }

    fn mean_off(&self) -> f64 {
        self.sum.value() / self.count as f64
    }

    pub(super) fn mean(&self) -> Option<f64> {
        (self.count > 0).then(|| self.centre() + self.mean_off())
    }

    /// Sum of squares about the mean.
    fn spread(&self) -> f64 {
        (self.squares.value() - self.count as f64 * self.mean_off() * self.mean_off()).max(0.0)
    }

    /// Divisor n - 1; `None` for fewer than two values.
    pub(super) fn sd(&self) -> Option<f64> {
        (self.count > 1).then(|| (self.spread() / (self.count - 1) as f64).sqrt())
    }

    /// `None` for fewer than two neighbours, and for values that are all the same.
    pub(super) fn lag1(&self) -> Option<f64> {
        let (mean, spread) = (self.mean_off(), self.spread());
        let ends = self.ends.value() + self.last.unwrap_or_default();
        // Every value is a first and a second of a pair, but for the ends.
        let both = 2.0 * self.sum.value() - ends;
        let products = self.products.value() - mean * both + self.pairs as f64 * mean * mean;
        (self.pairs > 0 && spread > 0.0).then(|| products / spread)
    }
}

#[cfg(test)]
mod tests {
    use super::*;

    fn near(a: Option<f64>, b: f64) -> bool {
        a.is_some_and(|a| (a - b).abs() < 1e-14)
    }

    #[test]
    fn three_numbers_by_hand() {
        // Mean 2; squares 1 + 0 + 1; neighbours -1 * 0 + 0 * 1.
        let mut moments = Moments::default();
        moments.add(&[1.0, 2.0], true);
        moments.add(&[3.0], false);
        assert!(near(moments.mean(), 2.0) && near(moments.sd(), 1.0));
        assert!(near(moments.lag1(), 0.0));
    }

    #[test]
    fn neighbours_across_a_break_are_none() {
        // Mean 2: offs -1 1 | -1 1: products -1 and -1 over 4.
        let mut moments = Moments::default();
        moments.add(&[1.0, 3.0], true);
        moments.add(&[1.0, 3.0], true);
        assert!(near(moments.lag1(), -0.5));
    }

    #[test]
    fn what_does_not_exist_is_none() {
        let mut moments = Moments::default();
        assert_eq!(
            (moments.mean(), moments.sd(), moments.lag1()),
            (None, None, None)
        );
        moments.add(&[5.0], true);
        assert_eq!((moments.mean(), moments.sd()), (Some(5.0), None));
        moments.add(&[5.0], false);
        assert_eq!((moments.sd(), moments.lag1()), (Some(0.0), None));
    }
}
