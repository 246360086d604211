//! Peaks that stand above the noise of a periodogram.

use statrs::distribution::{ChiSquared, ContinuousCDF as _};
use statrs::function::gamma::digamma;

/// Peaks are sought from so many turns in a segment on; below there are too few neighbours.
pub(super) const FIRST: usize = 7;
/// Neighbours reach from a third to three times the frequency.
const REACH: usize = 3;
/// So far to either side a peak spreads by its window (Hann).
const SPREAD: usize = 3;
/// Chance passes the level in so many of all records.
const CHANCE: f64 = 0.01;
/// A peak stands at least so many times above the noise, however sure it is.
const LEAST_RATIO: f64 = 2.0;
/// Neighbours so many standard deviations above the noise are peaks themselves and do not count.
const NEIGHBOUR_PEAK: f64 = 2.5;
/// The noise is taken higher than it was found by so many of its own standard errors.
const DOUBT: f64 = 2.0;

/// How a value of the averaged periodogram scatters about its mean.
#[derive(Clone, Copy, Debug)]
pub(super) struct Scatter {
    /// Degrees of freedom.
    freedom: f64,
}

impl Scatter {
    /// Of so many Hann segments that overlap by half (Welch 1967: neighbours share a squared
    /// correlation of 1/36).
    pub(super) fn of(segments: u64) -> Self {
        let count = segments as f64;
        Self {
            freedom: 2.0 * count / (1.0 + (count - 1.0) / (18.0 * count)),
        }
    }

    /// How many times its mean a value reaches by chance in one of 100 / `among` trials of it.
    fn level(self, among: f64) -> f64 {
        let chi = ChiSquared::new(self.freedom).map(|it| it.inverse_cdf(1.0 - CHANCE / among));
        chi.unwrap_or(f64::INFINITY) / self.freedom
    }

    /// Mean of the logarithm, the mean of the value being 1.
    fn log_mean(self) -> f64 {
        let half = self.freedom / 2.0;
        digamma(half) - half.ln()
    }

    /// Standard deviation of the logarithm: the first terms of the trigamma function's series.
    fn log_sd(self) -> f64 {
        let half = self.freedom / 2.0;
        (1.0 / half + 0.5 / half.powi(2) + 1.0 / (6.0 * half.powi(3))).sqrt()
    }
}

/// A straight line through logarithms over logarithms, at one place.
struct Noise {
    /// Logarithm of the noise there.
    level: f64,
    /// Its standard error, in standard deviations of a single logarithm.
    error: f64,
}

/// The places of all peaks among `places` that stand above the noise, `among` being the number of
/// places tried in all.
pub(super) fn peaks(
    power: &[f64],
    places: std::ops::Range<usize>,
    scatter: Scatter,
    among: usize,
) -> Vec<usize> {
    // A value of exactly nothing has no logarithm; so far below the largest it makes no difference.
    let floor = 1e-30 * power.iter().copied().fold(0.0, f64::max);
    if floor <= 0.0 {
        return Vec::new();
    }
    let logs: Vec<f64> = power.iter().map(|it| it.max(floor).ln()).collect();
    let level = scatter.level(among as f64).max(LEAST_RATIO).ln();
    let stands_out = |at: &usize| {
        let is_top = logs[*at] >= logs[at - 1] && logs.get(at + 1).is_none_or(|it| logs[*at] > *it);
        is_top
            && noise(&logs, *at, scatter).is_some_and(|noise| {
                logs[*at] - noise.level > level + DOUBT * noise.error * scatter.log_sd()
            })
    };
    places.filter(stands_out).collect()
}

/// The noise at a place, from its neighbours less those that are peaks; `None` for too few.
fn noise(logs: &[f64], at: usize, scatter: Scatter) -> Option<Noise> {
    let from = (at / REACH).max(2);
    let to = (at * REACH).min(logs.len().saturating_sub(2));
    let mut neighbours: Vec<(f64, f64)> = (from..=to)
        .filter(|it| it.abs_diff(at) > SPREAD)
        .map(|it| ((it as f64 / at as f64).ln(), logs[it]))
        .collect();
    let most = NEIGHBOUR_PEAK * scatter.log_sd();
    let mut found = line(&neighbours)?;
    for _ in 0..3 {
        let before = neighbours.len();
        neighbours.retain(|(x, y)| y - found.0 - found.1 * x <= most);
        found = line(&neighbours)?;
        if neighbours.len() == before {
            break;
        }
    }
    Some(Noise {
        level: found.0 - scatter.log_mean(),
        error: found.2,
    })
}

/// Height at 0, slope, and the standard error of the height per standard deviation of a point.
fn line(points: &[(f64, f64)]) -> Option<(f64, f64, f64)> {
    const FEWEST: usize = 6;
    if points.len() < FEWEST {
        return None;
    }
    let fit = super::least::fit(points.iter().map(|(x, y)| ([1.0, *x], *y, 1.0)))?;
    let [height, slope] = fit.coefficients;
    Some((height, slope, fit.inverse[0][0].sqrt()))
}
