//! Where samples are missing.

use super::noise::median;
use super::stretch::Stretch;

/// An interval between good samples is missing time when it is longer than so many periods.
const PERIODS: f64 = 1.5;

/// The usual interval between samples: the median of the intervals that are not zero; 0 for fewer
/// than two samples.
pub(crate) fn sample_period(time_s: &[f64]) -> f64 {
    let intervals = time_s.windows(2).map(|pair| pair[1] - pair[0]);
    median(intervals.filter(|interval| *interval > 0.0).collect()).unwrap_or(0.0)
}

/// Intervals without good samples.
#[derive(Clone, Copy, Debug)]
pub(crate) struct Gaps {
    longest_normal_s: f64,
}

impl Gaps {
    /// Gaps of a record that is usually sampled every `period_s`.
    pub(crate) fn of_period(period_s: f64) -> Self {
        Self {
            longest_normal_s: PERIODS * period_s,
        }
    }

    /// Whether there is one between neighbours at these times.
    #[inline]
    pub(crate) fn is_between(self, from_s: f64, to_s: f64) -> bool {
        to_s - from_s > self.longest_normal_s
    }

    /// Whether the interval that ends at sample `index` is one.
    pub(crate) fn ends_at(self, times: &[f64], index: usize) -> bool {
        index > 0
            && times
                .get(index)
                .is_some_and(|t| self.is_between(times[index - 1], *t))
    }

    /// The sample that ends each gap.
    pub(crate) fn all(self, times: &[f64]) -> impl Iterator<Item = usize> + '_ {
        (1..times.len()).filter(move |index| self.ends_at(times, *index))
    }

    /// Time in gaps between two moments of a record; of one that reaches beyond them, the part between.
    pub(crate) fn missing_between(self, times: &[f64], from_s: f64, to_s: f64) -> f64 {
        let first = times.partition_point(|t| *t <= from_s).max(1);
        (first..times.len())
            .take_while(|index| times[index - 1] < to_s)
            .filter(|index| self.ends_at(times, *index))
            .map(|index| times[index].min(to_s) - times[index - 1].max(from_s))
            // Not `sum`, which is -0.0 of nothing.
            .fold(0.0, |sum, part| sum + part)
    }

    /// The longest gap that overlaps the time from `from_s` to `to_s`.
    pub(crate) fn longest_between(self, line: &Stretch, from_s: f64, to_s: f64) -> Option<f64> {
        self.all(&line.t)
            .filter(|index| line.t[*index] > from_s && line.t[*index - 1] < to_s)
            .map(|index| line.t[index] - line.t[index - 1])
            .max_by(f64::total_cmp)
    }
}

#[cfg(test)]
#[expect(clippy::float_cmp, reason = "these figures are exact in binary")]
mod tests {
    use super::*;

    #[test]
    fn a_gap_counts_in_full() {
        let times = [0.0, 1.0, 2.0, 5.0, 6.0, 7.4, 8.4];
        let gaps = Gaps::of_period(sample_period(&times));
        assert_eq!(gaps.all(&times).collect::<Vec<_>>(), [3]);
        assert_eq!(gaps.missing_between(&times, 0.0, 8.4), 3.0);
    }

    #[test]
    fn of_a_gap_at_an_edge_the_part_inside_counts() {
        let times = [0.0, 1.0, 2.0, 5.0, 6.0, 7.0];
        let gaps = Gaps::of_period(1.0);
        assert_eq!(gaps.missing_between(&times, 4.5, 7.0), 0.5);
        assert_eq!(gaps.missing_between(&times, 0.0, 3.0), 1.0);
        assert_eq!(gaps.missing_between(&times, 3.0, 4.0), 1.0);
        assert_eq!(gaps.missing_between(&times, 5.0, 7.0), 0.0);
        assert_eq!(gaps.missing_between(&[], 5.0, 7.0), 0.0);
    }

    #[test]
    fn repeated_timestamps_do_not_shorten_the_period() {
        assert_eq!(sample_period(&[0.0, 0.0, 0.0, 0.0, 2.0, 4.0]), 2.0);
        assert_eq!(sample_period(&[3.0]), 0.0);
    }
}
