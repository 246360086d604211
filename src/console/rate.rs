//! Where the process value is going.

use std::collections::VecDeque;

/// A rate is told from at most so much of the past.
const LONGEST_S: f64 = 120.0;
/// A bend larger than so many of its standard errors is one; two, for a bend that is missed turns up in
/// the slope.
const BENT: f64 = 2.0;
/// What bends is a parabola for so long at most.
const LONGEST_BENT_S: f64 = 60.0;
/// Fewer values tell no rate.
const FEWEST: usize = 5;
/// Each stretch that is tried is longer than the last by this factor.
const LONGER: f64 = 1.25;
/// Values that scatter about a curve by at most so many times the noise lie on it.
const ON_IT: f64 = 1.4;
/// Values that flick between two last digits scatter by this part of one.
const ROUNDING: f64 = 0.5;
/// A value that moved by less than so many last digits may stand still.
const MOVED: f64 = 2.5;
/// A number smaller than so many of its standard errors may as well be none.
const TELLING: f64 = 3.0;

/// The latest process values.
#[derive(Clone, Debug, Default, PartialEq)]
pub(super) struct Rate {
    values: VecDeque<(f64, f64)>,
}

impl Rate {
    /// Takes a process value in.
    pub(super) fn take(&mut self, at_s: f64, pv: f64) {
        self.values.push_back((at_s, pv));
        while self
            .values
            .front()
            .is_some_and(|(first_s, _)| at_s - first_s > LONGEST_S)
        {
            self.values.pop_front();
        }
    }

    /// Forgets what was before: values on both sides of a gap tell no rate.
    pub(super) fn clear(&mut self) {
        self.values.clear();
    }

    /// Units a minute, for values with a last digit of this size; 0 where it cannot be told from none,
    /// `None` before there is enough to say it.
    ///
    /// It is the slope at the end of the longest latest stretch that a straight line describes, or a
    /// parabola where it bends: a loop that turns is told to turn, and one that drifts is not judged by
    /// its noise.
    pub(super) fn per_min(&self, digit: f64) -> Option<f64> {
        let (times, pvs): (Vec<f64>, Vec<f64>) = self.values.iter().copied().unzip();
        let rounding = ROUNDING * digit;
        let noise = noise(&pvs).max(rounding);
        let mut found = None;
        let mut length = FEWEST as f64;
        let mut is_last = pvs.len() < FEWEST;
        while !is_last {
            let count = (length as usize).min(pvs.len());
            is_last = count == pvs.len();
            let from = pvs.len() - count;
            let curve = Curve::through(&times[from..], &pvs[from..], rounding);
            found = curve
                .filter(|curve| {
                    let fits = curve.scatter <= ON_IT * noise && curve.lasts_s <= curve.may_last_s;
                    found.is_none() || fits
                })
                .or(found);
            length *= LONGER;
        }
        let curve = found?;
        let is_telling =
            curve.slope.abs() > TELLING * noise * curve.error && curve.range > MOVED * digit;
        Some(if is_telling { 60.0 * curve.slope } else { 0.0 })
    }
}

/// Standard deviation of the noise, from all second differences: of values that repeat the median one, as
/// the analysis takes it, is often nothing.
fn noise(values: &[f64]) -> f64 {
    let squares = values
        .windows(3)
        .map(|three| (three[0] - 2.0 * three[1] + three[2]).powi(2));
    // The second difference of white noise has six times its variance.
    (squares.sum::<f64>() / 6.0 / (values.len() as f64 - 2.0)).sqrt()
}

/// A line or a parabola of least squares.
#[derive(Clone, Copy, Debug)]
struct Curve {
    /// At its end, in units a second.
    slope: f64,
    /// Standard error of that, for noise of 1.
    error: f64,
    /// Standard deviation of the values about it.
    scatter: f64,
    lasts_s: f64,
    may_last_s: f64,
    /// From the least to the greatest value.
    range: f64,
}

impl Curve {
    /// Through values of which rounding alone scatters them by so much; `None` where they are of too
    /// few different times.
    ///
    /// The two terms are polynomials orthogonal over the times, so that the second one stands or falls
    /// by itself.
    fn through(times: &[f64], values: &[f64], rounding: f64) -> Option<Self> {
        let count = times.len() as f64;
        let mean = |numbers: &mut dyn Iterator<Item = f64>| numbers.sum::<f64>() / count;
        let middle = mean(&mut times.iter().copied());
        let level = mean(&mut values.iter().copied());
        let times: Vec<f64> = times.iter().map(|t| t - middle).collect();
        let square = mean(&mut times.iter().map(|t| t * t));
        let lean = mean(&mut times.iter().map(|t| t.powi(3))) / square;
        let bend = |t: &f64| t * t - lean * t - square;
        let along = |term: &dyn Fn(&f64) -> f64| {
            let size: f64 = times.iter().map(|t| term(t).powi(2)).sum();
            let both = times.iter().zip(values);
            let part: f64 = both.map(|(t, value)| term(t) * (value - level)).sum();
            (part / size, size)
        };
        let (slope, spread) = along(&|t| *t);
        let (curvature, bend_spread) = along(&bend);
        let least = values.iter().copied().fold(f64::INFINITY, f64::min);
        let greatest = values.iter().copied().fold(f64::NEG_INFINITY, f64::max);
        let about = values.iter().map(|value| (value - level).powi(2));
        let about_line = (about.sum::<f64>() - slope * slope * spread).max(0.0);
        let taken = curvature * curvature * bend_spread;
        let about_parabola = (about_line - taken).max(0.0);
        // Whether it bends is asked finely: a value that moves rounds evenly, by 1 / sqrt(12) of a digit.
        let variance = (about_parabola / (count - 3.0)).max(rounding * rounding / 3.0);
        let bends = taken > BENT * BENT * variance;
        let (rest, freedom, steeper) = if bends {
            let end = times.last()?;
            (about_parabola, count - 3.0, 2.0 * end - lean)
        } else {
            (about_line, count - 2.0, 0.0)
        };
        let curve = Self {
            slope: slope + curvature * steeper,
            error: (1.0 / spread + steeper * steeper / bend_spread).sqrt(),
            scatter: (rest / freedom).sqrt(),
            lasts_s: times.last()? - times.first()?,
            may_last_s: if bends { LONGEST_BENT_S } else { LONGEST_S },
            range: greatest - least,
        };
        curve.slope.is_finite().then_some(curve)
    }
}

#[cfg(test)]
mod tests {
    use super::*;

    /// The rate after so many seconds of a value, polled each second and rounded to a tenth.
    fn rate(seconds: u32, value: impl Fn(f64) -> f64) -> Option<f64> {
        let mut rate = Rate::default();
        for t in 0..=seconds {
            let t = f64::from(t);
            rate.take(t, (value(t) * 10.0).round() / 10.0);
        }
        rate.per_min(0.1)
    }

    #[test]
    fn a_ramp_has_its_rate_and_a_hold_none() {
        let ramp = rate(120, |t| 20.0 + t * 6.0 / 60.0).unwrap();
        assert!((ramp - 6.0).abs() < 0.1, "{ramp}");
        assert_eq!(rate(120, |_| 510.0), Some(0.0));
        assert_eq!(rate(3, |t| t), None);
    }

    #[test]
    fn after_a_turn_the_sign_is_the_new_one_within_seconds() {
        // Up at 60 a minute, then down as fast, as a fast loop swings.
        let after = |seconds: u32| rate(40 + seconds, |t| 100.0 - (t - 40.0).abs()).unwrap();
        assert!(after(0) > 50.0, "{}", after(0));
        for seconds in 4..20 {
            let rate = after(seconds);
            assert!((rate + 60.0).abs() < 6.0, "{seconds} s after: {rate}");
        }
    }

    #[test]
    fn a_slow_swing_is_told_from_its_end_not_from_its_mean() {
        // 12 degrees peak to peak in 7 minutes: at most 5.4 a minute.
        let phase = |t: f64| t / 420.0 * std::f64::consts::TAU;
        let mut worst = 0.0_f64;
        for seconds in (60..900).step_by(7) {
            let true_rate = 6.0 * 60.0 * phase(1.0) * phase(f64::from(seconds)).cos();
            let told = rate(seconds, |t| 510.0 + 6.0 * phase(t).sin()).unwrap();
            worst = worst.max((told - true_rate).abs());
        }
        // Just before and after a turn it is called none.
        assert!(worst < 1.0, "{worst}");
    }

    #[test]
    fn a_last_digit_that_flicks_is_no_rate() {
        for period in [2.0, 3.0, 7.0, 13.0, 20.0] {
            for seconds in 20..140 {
                let told = rate(seconds, |t| 510.0 - 0.1 * ((t / period).floor() % 2.0)).unwrap();
                assert!(told.abs() < 0.3, "{period} s, {seconds} s: {told}");
            }
        }
    }

    #[test]
    fn noise_is_no_rate() {
        // A fixed sequence without a pattern (a linear congruential generator).
        let noise = |t: f64| {
            let mut state = t as u64 + 1;
            for _ in 0..5 {
                state = state
                    .wrapping_mul(6_364_136_223_846_793_005)
                    .wrapping_add(1);
            }
            (state >> 40) as f64 / f64::from(1 << 24) - 0.5
        };
        for seconds in 60..400 {
            let told = rate(seconds, |t| 510.0 + noise(t)).unwrap();
            assert!(told.abs() < 1.0, "{seconds} s: {told}");
        }
    }

    #[test]
    fn a_quiet_loop_with_a_little_noise_is_not_told_to_move() {
        // Twelve numbers of a linear congruential generator make one that is nearly normal.
        let mut state = 1_u64;
        let mut normal = move || {
            let uniform = || {
                state = state
                    .wrapping_mul(6_364_136_223_846_793_005)
                    .wrapping_add(1);
                (state >> 40) as f64 / f64::from(1 << 24)
            };
            std::iter::repeat_with(uniform).take(12).sum::<f64>() - 6.0
        };
        let mut rate = Rate::default();
        let mut worst = 0.0_f64;
        for t in 0..7200 {
            let t = f64::from(t);
            let phase = t / 480.0 * std::f64::consts::TAU;
            let pv = 510.0 + 0.4 * phase.sin() + 0.06 * normal();
            rate.take(t, (pv * 10.0).round() / 10.0);
            let true_rate = 0.4 * std::f64::consts::TAU / 8.0 * phase.cos();
            let off = (rate.per_min(0.1).unwrap_or(0.0) - true_rate).abs();
            worst = worst.max(off);
        }
        assert!(worst < 0.5, "{worst}");
    }
}
