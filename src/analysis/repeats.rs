//! Whether several runs after a change differ from several before it.

/// More runs than this on one side are not counted out.
const MOST_RUNS: usize = 50;

/// How likely it is that runs which do not differ at all fall apart as far as these, by chance:
/// between 0 and 1, two-sided. `f64::INFINITY` stands for a number that was not reached (a settling
/// time that never came) and counts as larger than any other. `None` for fewer than two runs on a
/// side, more than fifty, or a NaN.
///
/// The exact rank-sum test, ties shared: every way to deal the ranks to the two sides is counted.
/// Three runs and three can never come below 0.1, four and four below 0.029.
///
/// Source: Wilcoxon, Individual comparisons by ranking methods, 1945; Mann and Whitney, On a test of
/// whether one of two random variables is stochastically larger than the other, 1947.
///
/// ```
/// use emberline::analysis::chance_of_difference;
/// // All before larger than all after: 2 of the 20 ways to deal six ranks are as extreme.
/// let chance = chance_of_difference(&[5.1, 4.8, 5.6], &[1.2, 1.9, 1.4]).unwrap();
/// assert!((chance - 0.1).abs() < 1e-12);
/// ```
pub fn chance_of_difference(before: &[f64], after: &[f64]) -> Option<f64> {
    let both = || before.iter().chain(after).copied();
    let countable = |runs: &[f64]| (2..=MOST_RUNS).contains(&runs.len());
    if !countable(before) || !countable(after) || both().any(f64::is_nan) {
        return None;
    }
    let ranks = doubled_ranks(&both().collect::<Vec<_>>());
    let seen: usize = ranks[..before.len()].iter().sum();
    let ways = ways_to_sum(&ranks, before.len());
    let all: f64 = ways.iter().sum();
    // Mirrored about the mean sum, which is exact in these doubled ranks.
    let twice_mean = before.len() * (ranks.len() + 1) * 2;
    let off = (2 * seen).abs_diff(twice_mean);
    let is_as_far = |sum: usize| (2 * sum).abs_diff(twice_mean) >= off;
    let extreme: f64 = ways
        .iter()
        .enumerate()
        .filter(|(sum, _)| is_as_far(*sum))
        .map(|(_, ways)| ways)
        .sum();
    Some(extreme / all)
}

/// Twice the rank of each value, counted from 1; equal values share the mean of their ranks.
fn doubled_ranks(values: &[f64]) -> Vec<usize> {
    let rank = |value: &f64| {
        let below = values.iter().filter(|other| *other < value).count();
        let equal = values
            .iter()
            .filter(|it| it.total_cmp(value).is_eq())
            .count();
        2 * below + equal + 1
    };
    values.iter().map(rank).collect()
}

/// For each sum: in how many ways `chosen` of the ranks give it.
fn ways_to_sum(ranks: &[usize], chosen: usize) -> Vec<f64> {
    let most: usize = ranks.iter().sum();
    let mut ways = vec![vec![0.0; most + 1]; chosen + 1];
    ways[0][0] = 1.0;
    for rank in ranks {
        for count in (0..chosen).rev() {
            for sum in 0..=most - rank {
                let more = ways[count][sum];
                ways[count + 1][sum + rank] += more;
            }
        }
    }
    ways.swap_remove(chosen)
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn the_exact_chance_is_that_of_counting() {
        let near = |before: &[f64], after: &[f64], chance: f64| {
            let found = chance_of_difference(before, after).unwrap();
            assert!((found - chance).abs() < 1e-12, "{found} is not {chance}");
        };
        // Of the 70 ways to deal eight ranks, two lay all of one side below the other.
        near(&[1.0, 2.0, 3.0, 4.0], &[5.0, 6.0, 7.0, 8.0], 2.0 / 70.0);
        // scipy.stats.mannwhitneyu(..., method="exact") 1.17.
        let (before, after) = ([1.1, 2.2, 3.3, 4.4, 5.5], [2.0, 3.0, 6.0, 7.0, 8.0]);
        near(&before, &after, 0.309_523_809_523_809_53);
        // Equal runs say nothing.
        near(&[3.0, 3.0], &[3.0, 3.0], 1.0);
    }

    #[test]
    fn a_time_that_never_came_is_the_largest() {
        let never = f64::INFINITY;
        let found = chance_of_difference(&[never, never, 900.0, never], &[60.0, 70.0, 65.0, 80.0]);
        // All of one side above the other; ties among them change nothing: 2 of 70.
        assert!((found.unwrap() - 2.0 / 70.0).abs() < 1e-12);
    }

    #[test]
    fn one_run_is_no_repetition() {
        assert_eq!(chance_of_difference(&[1.0], &[2.0, 3.0]), None);
        assert_eq!(chance_of_difference(&[1.0, f64::NAN], &[2.0, 3.0]), None);
    }
}
