//! How much of a signal is noise.

/// Median of |x| for a normal x of unit standard deviation: the third quartile of the normal
/// distribution, known in closed form only as an inverse error function.
const MEDIAN_OF_ABSOLUTE_NORMAL: f64 = 0.674_489_750_196_081_7;

/// Samples on either side of the one that is smoothed.
const SMOOTHING_REACH: usize = 5;

/// Standard deviation of the noise on evenly sampled values, robust to the response underneath.
///
/// The second difference of white noise has sqrt(6) times its standard deviation, while that of a
/// slow response is next to nothing; the median of its absolute value does not see single jumps.
/// 0 for fewer than three values.
///
/// ```
/// // Alternating +1, -1 has second differences of exactly 4: 4 / (0.67449 sqrt 6).
/// let flicker: Vec<f64> = (0..100).map(|i| if i % 2 == 0 { 1.0 } else { -1.0 }).collect();
/// let sd = emberline::analysis::noise_sd(&flicker);
/// assert!((sd - 2.421_079).abs() < 1e-6);
/// // A straight line is no noise.
/// assert_eq!(emberline::analysis::noise_sd(&[1.0, 2.0, 3.0, 4.0]), 0.0);
/// ```
pub fn noise_sd(values: &[f64]) -> f64 {
    let second: Vec<f64> = values
        .windows(3)
        .map(|three| (three[0] - 2.0 * three[1] + three[2]).abs())
        .collect();
    median(second).map_or(0.0, |median| {
        median / (MEDIAN_OF_ABSOLUTE_NORMAL * 6.0_f64.sqrt())
    })
}

/// The middle value, or the mean of the middle two; `None` of nothing.
pub(crate) fn median(mut values: Vec<f64>) -> Option<f64> {
    let middle = values.len() / 2;
    if values.is_empty() {
        return None;
    }
    let (below, upper, _) = values.select_nth_unstable_by(middle, f64::total_cmp);
    let upper = *upper;
    if below.len() < middle || values.len() % 2 == 1 {
        return Some(upper);
    }
    let lower = values[..middle].iter().copied().fold(f64::MIN, f64::max);
    Some(f64::midpoint(lower, upper))
}

/// The smallest change between neighbours that is one: the resolution of a quantised signal, and
/// next to nothing for any other.
pub(crate) fn resolution(values: &[f64]) -> f64 {
    let smallest = values
        .windows(2)
        .map(|pair| (pair[1] - pair[0]).abs())
        // Differences of the last bits are rounding of the decimals, not steps of a converter.
        .filter(|change| *change > 1e-9)
        .fold(f64::INFINITY, f64::min);
    if smallest.is_finite() { smallest } else { 0.0 }
}

/// The step between the values of a quantised signal: there, each change is a multiple of it and many
/// values repeat. `None` for any other signal, and for too few values to tell.
pub(crate) fn quantum(values: &[f64]) -> Option<f64> {
    /// Fewer changes tell nothing.
    const FEWEST: usize = 8;
    /// So many of the values repeat at least.
    const REPEATED: f64 = 0.2;
    let step = resolution(values);
    let changes = || values.windows(2).map(|pair| (pair[1] - pair[0]).abs());
    let repeated = changes().filter(|change| *change <= 1e-9).count();
    let moved = values.len().saturating_sub(1 + repeated);
    let in_steps = |change: f64| (change / step - (change / step).round()).abs() < 0.01;
    let is_so = step > 0.0
        && moved >= FEWEST
        && repeated as f64 >= REPEATED * values.len() as f64
        && changes().all(in_steps);
    is_so.then_some(step)
}

/// The values smoothed by a local parabola over eleven samples, which keeps the height of a peak
/// that a running mean would cut. The first and last five values stay as they are.
///
/// Source: Savitzky and Golay 1964, weights in closed form.
pub(crate) fn smoothed(values: &[f64]) -> Vec<f64> {
    let reach = SMOOTHING_REACH;
    let weights = parabola_weights(reach);
    let mut smooth = values.to_vec();
    for (window, middle) in values.windows(2 * reach + 1).zip(reach..) {
        smooth[middle] = window.iter().zip(&weights).map(|(y, w)| y * w).sum();
    }
    smooth
}

fn parabola_weights(reach: usize) -> Vec<f64> {
    let m = reach as f64;
    let scale = 3.0 / ((2.0 * m - 1.0) * (2.0 * m + 1.0) * (2.0 * m + 3.0));
    (0..=2 * reach)
        .map(|index| {
            let j = index as f64 - m;
            (3.0 * m * m + 3.0 * m - 1.0 - 5.0 * j * j) * scale
        })
        .collect()
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn the_median_of_an_even_count_is_the_mean_of_the_middle_two() {
        assert_eq!(median(vec![4.0, 1.0, 3.0, 2.0]), Some(2.5));
        assert_eq!(median(vec![3.0, 1.0, 2.0]), Some(2.0));
        assert_eq!(median(vec![]), None);
    }

    #[test]
    fn smoothing_keeps_a_parabola_as_it_is() {
        let parabola: Vec<f64> = (0..30).map(|i| 3.0 - 0.2 * f64::from(i * i)).collect();
        for (smooth, raw) in smoothed(&parabola).iter().zip(&parabola) {
            assert!((smooth - raw).abs() < 1e-9);
        }
    }

    #[test]
    fn the_weights_of_five_points_are_the_published_ones() {
        // Savitzky and Golay 1964, table I, five points: (-3, 12, 17, 12, -3) / 35 (from memory).
        let published = [-3.0, 12.0, 17.0, 12.0, -3.0].map(|w| w / 35.0);
        for (own, known) in parabola_weights(2).iter().zip(published) {
            assert!((own - known).abs() < 1e-15);
        }
    }

    #[test]
    fn only_a_quantised_signal_has_a_quantum() {
        let sine = |i: i32| 20.0 * (f64::from(i) / 100.0).sin();
        let halves: Vec<f64> = (0..600).map(|i| (2.0 * sine(i)).round() / 2.0).collect();
        assert!((quantum(&halves).unwrap() - 0.5).abs() < 1e-9);
        let fine: Vec<f64> = (0..600).map(sine).collect();
        assert_eq!(quantum(&fine), None);
        // Seldom looked at, a ramp has equal changes but repeats nothing.
        let ramp: Vec<f64> = (0..60).map(|i| 5.0 * f64::from(i)).collect();
        assert_eq!(quantum(&ramp), None);
    }

    #[test]
    fn tenths_have_a_resolution_of_a_tenth() {
        assert!((resolution(&[21.4, 21.4, 21.6, 21.5]) - 0.1).abs() < 1e-9);
        assert!(resolution(&[5.0, 5.0]).abs() < f64::EPSILON);
    }
}
