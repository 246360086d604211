//! The slope of a record, with an honest interval.

use std::f64::consts::TAU;

use statrs::distribution::{ContinuousCDF as _, StudentsT};

use super::least::{Fit, fit};
use super::result::Drift;

const DAY_S: f64 = 86_400.0;
/// A shorter record has no slope per day: a swing of minutes would be sold as one (common practice, no
/// source).
const SHORTEST_S: f64 = 3600.0;
/// A daily cycle is fitted beside the slope when the record spans so long.
const DAILY_FROM_S: f64 = 2.0 * DAY_S;
/// Means are taken over longer and longer runs of residuals as long as so many are left.
const FEWEST_MEANS: usize = 64;
/// Two-sided 95 %.
const UPPER: f64 = 0.975;

/// Time, value and how many samples it stands for.
pub(super) type Weighted = (f64, f64, f64);

/// Slope per day of the values; `None` for fewer than three, or for less than an hour between them.
pub(super) fn drift(values: &[Weighted]) -> Option<Drift> {
    let (first, last) = values.first().zip(values.last())?;
    let span_s = last.0 - first.0;
    if values.len() < 3 || span_s < SHORTEST_S {
        return None;
    }
    let middle_s = f64::midpoint(first.0, last.0);
    let scaled = |time_s: f64| 2.0 * (time_s - middle_s) / span_s;
    let per_day = 2.0 * DAY_S / span_s;
    if span_s >= DAILY_FROM_S {
        let terms = |time_s: f64| {
            let (sine, cosine) = (TAU * time_s / DAY_S).sin_cos();
            [1.0, scaled(time_s), sine, cosine]
        };
        if let Some(fit) = fitted(values, terms) {
            let [_, _, sine, cosine] = fit.coefficients;
            return Some(Drift {
                daily_amplitude: Some(sine.hypot(cosine)),
                ..of(values, &fit, terms, per_day)
            });
        }
    }
    let terms = |time_s: f64| [1.0, scaled(time_s)];
    let fit = fitted(values, terms)?;
    Some(of(values, &fit, terms, per_day))
}

fn fitted<const P: usize>(values: &[Weighted], terms: impl Fn(f64) -> [f64; P]) -> Option<Fit<P>> {
    // From the first value: a large level would cost digits.
    let level = values.first()?.1;
    let row = |(time_s, value, weight): &Weighted| (terms(*time_s), value - level, *weight);
    fit(values.iter().map(row))
}

fn of<const P: usize>(
    values: &[Weighted],
    fit: &Fit<P>,
    terms: impl Fn(f64) -> [f64; P],
    per_day: f64,
) -> Drift {
    let level = values.first().map_or(0.0, |it| it.1);
    let residual = |(time_s, value, weight): &Weighted| {
        let fitted: f64 = terms(*time_s)
            .iter()
            .zip(&fit.coefficients)
            .map(|(term, coefficient)| term * coefficient)
            .sum();
        (value - level - fitted, *weight)
    };
    let residuals: Vec<(f64, f64)> = values.iter().map(residual).collect();
    let slope = fit.coefficients[1];
    let half = half_width(residuals, P as f64, fit.inverse[1][1]);
    Drift {
        per_day: slope * per_day,
        ci95: half.map(|half| [(slope - half) * per_day, (slope + half) * per_day]),
        daily_amplitude: None,
    }
}

/// The widest half-width over means of 1, 2, 4 ... residuals; `None` where too few are independent.
fn half_width(mut residuals: Vec<(f64, f64)>, terms: f64, variance: f64) -> Option<f64> {
    let mut widest: f64 = 0.0;
    loop {
        widest = widest.max(half_width_of(&residuals, terms, variance)?);
        if residuals.len() < 2 * FEWEST_MEANS {
            return Some(widest);
        }
        let mean = |pair: &[(f64, f64)]| {
            let weight: f64 = pair.iter().map(|it| it.1).sum();
            let sum: f64 = pair.iter().map(|it| it.0 * it.1).sum();
            (sum / weight, weight)
        };
        residuals = residuals.chunks_exact(2).map(mean).collect();
    }
}

fn half_width_of(residuals: &[(f64, f64)], terms: f64, variance: f64) -> Option<f64> {
    let count = residuals.len() as f64;
    let weighted: f64 = residuals.iter().map(|(e, weight)| weight * e * e).sum();
    let squares: f64 = residuals.iter().map(|(e, _)| e * e).sum();
    let products: f64 = residuals.windows(2).map(|two| two[0].0 * two[1].0).sum();
    let lag1 = if squares > 0.0 {
        products / squares
    } else {
        0.0
    };
    // Residuals that alternate do not make more of them.
    let lag1 = lag1.clamp(0.0, 1.0 - 1e-12);
    let widened = (1.0 + lag1) / (1.0 - lag1);
    let freedom = count / widened - terms;
    if freedom < 1.0 {
        return None;
    }
    let student = StudentsT::new(0.0, 1.0, freedom).ok()?.inverse_cdf(UPPER);
    Some(student * (weighted / (count - terms) * variance * widened).sqrt())
}

#[cfg(test)]
pub(crate) mod tests {
    use super::*;

    /// Numbers that look random, about 0, of unit variance (Marsaglia, Xorshift RNGs, 2003; twelve
    /// uniform ones added up).
    pub(crate) fn noise(seed: u64) -> impl FnMut() -> f64 {
        let mut state = seed.wrapping_mul(0x9E37_79B9_7F4A_7C15) | 1;
        move || {
            let mut uniform = || {
                state ^= state << 13;
                state ^= state >> 7;
                state ^= state << 17;
                (state >> 11) as f64 / (1_u64 << 53) as f64
            };
            (0..12).map(|_| uniform()).sum::<f64>() - 6.0
        }
    }

    fn record(seconds: u32, step_s: f64, value: impl FnMut(f64) -> f64) -> Vec<Weighted> {
        let times = (0..seconds).map(|i| f64::from(i) * step_s);
        let mut value = value;
        times.map(|t| (t, value(t), 1.0)).collect()
    }

    #[test]
    fn a_straight_line_is_its_slope() {
        let found = drift(&record(1000, 60.0, |t| 510.0 + 0.5 * t / DAY_S)).unwrap();
        assert!((found.per_day - 0.5).abs() < 1e-9);
        let [low, high] = found.ci95.unwrap();
        assert!(
            low <= 0.5 && 0.5 <= high && high - low < 1e-6,
            "{low} {high}"
        );
    }

    #[test]
    fn a_daily_cycle_does_not_bend_the_slope() {
        let wave = |t: f64| (TAU * t / DAY_S).cos();
        let found = drift(&record(4000, 60.0, |t| 0.1 * t / DAY_S + 2.0 * wave(t))).unwrap();
        assert!((found.per_day - 0.1).abs() < 1e-9, "{}", found.per_day);
        assert!((found.daily_amplitude.unwrap() - 2.0).abs() < 1e-9);
        let short = drift(&record(2000, 60.0, |t| 0.1 * t / DAY_S)).unwrap();
        assert_eq!(short.daily_amplitude, None, "less than two days");
    }

    /// How many of 200 records without a drift have 0 in their interval.
    fn covered(value: impl Fn(&mut dyn FnMut() -> f64) -> Box<dyn FnMut() -> f64>) -> usize {
        let honest = |seed: &u64| {
            let mut chance = noise(*seed);
            let mut next = value(&mut chance);
            let [low, high] = drift(&record(4000, 1.0, |_| next())).unwrap().ci95.unwrap();
            low <= 0.0 && 0.0 <= high
        };
        (1..=200_u64).filter(honest).count()
    }

    #[test]
    fn nineteen_of_twenty_intervals_hold_the_truth_in_white_noise() {
        let found = covered(|chance| {
            let own = noise((chance() * 1e6) as i64 as u64);
            Box::new(own)
        });
        assert!((184..=199).contains(&found), "{found} of 200");
    }

    #[test]
    fn a_slow_wander_under_sensor_noise_is_not_sold_as_a_drift() {
        // Time constant 50 samples under noise of the same size: neighbours say too little.
        let found = covered(|chance| {
            let mut own = noise((chance() * 1e6) as i64 as u64);
            let keep = (-1.0_f64 / 50.0).exp();
            let mut slow = 0.0;
            Box::new(move || {
                slow = keep * slow + (1.0 - keep * keep).sqrt() * own();
                slow + own()
            })
        });
        assert!((180..=200).contains(&found), "{found} of 200");
    }

    #[test]
    fn too_little_has_no_slope_and_no_interval() {
        assert_eq!(drift(&[]), None);
        assert_eq!(drift(&record(2, 1.0, |t| t)), None);
        assert_eq!(drift(&record(9, 0.0, |t| t)), None);
        // A degree an hour, a sample a minute.
        let hour = |minutes| drift(&record(minutes, 60.0, |t| t / 3600.0));
        assert_eq!(hour(60), None, "59 minutes");
        assert!((hour(61).unwrap().per_day - 24.0).abs() < 1e-9);
        let slow = drift(&record(61, 60.0, |t| (t / 600.0).sin())).unwrap();
        assert_eq!(slow.ci95, None, "one turn of a wave is no sixty samples");
    }
}
