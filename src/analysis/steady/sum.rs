//! Sums that keep every digit.

/// A sum of many numbers with the rounding errors kept beside it, as good as one in twice the
/// precision.
///
/// Source: Knuth, The Art of Computer Programming, vol. 2, 4.2.2 (the error of an addition); Ogita,
/// Rump and Oishi, Accurate sum and dot product, SIAM J. Sci. Comput. 26, 2005 (Sum2).
#[derive(Clone, Copy, Debug, Default, PartialEq)]
pub(super) struct Sum {
    high: f64,
    low: f64,
}

impl Sum {
    #[inline]
    pub(super) fn add(&mut self, value: f64) {
        let sum = self.high + value;
        let other = sum - self.high;
        self.low += (self.high - (sum - other)) + (value - other);
        self.high = sum;
    }

    pub(super) fn value(self) -> f64 {
        self.high + self.low
    }
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    #[expect(clippy::float_cmp, reason = "that it is exact is what is claimed")]
    fn small_numbers_beside_a_large_one_are_not_lost() {
        let mut sum = Sum::default();
        for value in [1.0, 1e100, 1.0, -1e100] {
            sum.add(value);
        }
        assert_eq!(sum.value(), 2.0);
    }
}
