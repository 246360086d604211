//! The overlapping Allan deviation.

use super::result::AllanPoint;

/// Up to this averaging factor every overlapping difference counts.
const FULL: usize = 512;
/// For longer ones every (factor / 512)th: their neighbours hardly differ.
const LONG: u32 = 32;

/// Overlapping differences of the means over `factor` samples, all of them.
///
/// With x the running sum of the samples, each is (x[i + 2m] - 2 x[i + m] + x[i]) / m, and the
/// deviation the root of half their mean square (Riley, Handbook of Frequency Stability Analysis,
/// NIST Special Publication 1065, 2008, 5.2.4).
#[derive(Clone, Debug)]
struct Differences {
    factor: usize,
    squares: f64,
    count: u64,
}

impl Differences {
    fn of(factor: usize) -> Self {
        Self {
            factor,
            squares: 0.0,
            count: 0,
        }
    }

    fn add(&mut self, differences: impl Iterator<Item = f64>) {
        let mut sum = 0.0;
        let mut count = 0;
        for difference in differences {
            sum += difference * difference;
            count += 1;
        }
        self.squares += sum;
        self.count += count;
    }

    fn point(&self, period_s: f64) -> Option<AllanPoint> {
        let m = self.factor as f64;
        (self.count > 0).then(|| AllanPoint {
            tau_s: m * period_s,
            adev: (self.squares / (2.0 * m * m * self.count as f64)).sqrt(),
            n: self.count,
        })
    }
}

/// Moderate factors, from the running sums of the last samples.
#[derive(Clone, Debug)]
struct Short {
    factors: Vec<Differences>,
    /// Running sums: those of before, then those of the samples being added.
    sums: Vec<f64>,
    reach: usize,
}

impl Short {
    fn of(factors: impl Iterator<Item = usize>) -> Self {
        let factors: Vec<Differences> = factors.map(Differences::of).collect();
        let largest = factors.iter().map(|it| it.factor).max().unwrap_or(1);
        Self {
            factors,
            sums: vec![0.0],
            reach: 2 * largest,
        }
    }

    /// Samples without a gap; returns where the new running sums begin.
    fn add(&mut self, values: &[f64], breaks: bool) -> &[f64] {
        if breaks {
            self.sums.clear();
            self.sums.push(0.0);
        }
        let useless = self.sums.len().saturating_sub(self.reach);
        self.sums.drain(..useless);
        let begins = self.sums.len();
        let mut sum = self.sums[begins - 1];
        self.sums.extend(values.iter().map(|value| {
            sum += value;
            sum
        }));
        for factor in &mut self.factors {
            let m = factor.factor;
            let first = begins.max(2 * m);
            let Some(last) = self.sums.get(first..) else {
                continue;
            };
            let middle = &self.sums[first - m..];
            let early = &self.sums[first - 2 * m..];
            let three = last.iter().zip(middle).zip(early);
            factor.add(three.map(|((last, middle), early)| last - 2.0 * middle + early));
        }
        &self.sums[begins..]
    }
}

/// One long factor, from every so manyth running sum.
#[derive(Clone, Debug)]
struct Long {
    differences: Differences,
    stride: usize,
    sums: Vec<f64>,
    /// Running sums to pass over before the next one counts.
    pass_over: usize,
}

impl Long {
    fn of(factor: usize) -> Self {
        Self {
            differences: Differences::of(factor),
            stride: factor / FULL,
            sums: vec![0.0],
            pass_over: factor / FULL - 1,
        }
    }

    fn add(&mut self, sums: &[f64], breaks: bool) {
        if breaks {
            self.sums.clear();
            self.sums.push(0.0);
            self.pass_over = self.stride - 1;
        }
        for sum in sums.iter().skip(self.pass_over).step_by(self.stride) {
            let length = self.sums.len();
            if length >= 2 * FULL {
                let difference =
                    sum - 2.0 * self.sums[length - FULL] + self.sums[length - 2 * FULL];
                self.differences.add(std::iter::once(difference));
            }
            if length == 4 * FULL {
                self.sums.drain(..2 * FULL);
            }
            self.sums.push(*sum);
        }
        let last = (sums.len() + self.stride - 1 - self.pass_over) % self.stride;
        self.pass_over = self.stride - 1 - last;
    }
}

/// All octave spaced factors. Values should be differences from something near their mean.
#[derive(Clone, Debug)]
pub(super) struct Allan {
    short: Short,
    long: Vec<Long>,
    /// The longest stretch without a gap, and the present one, in samples.
    pub(super) longest: u64,
    present: u64,
}

impl Default for Allan {
    fn default() -> Self {
        let full = FULL.trailing_zeros();
        Self {
            short: Short::of((0..=full).map(|octave| 1 << octave)),
            long: (full + 1..LONG)
                .map(|octave| Long::of(1 << octave))
                .collect(),
            longest: 0,
            present: 0,
        }
    }
}

impl Allan {
    /// Samples one period apart; the first follows the last one before unless `breaks`.
    pub(super) fn add(&mut self, values: &[f64], breaks: bool) {
        let sums = self.short.add(values, breaks);
        for long in &mut self.long {
            long.add(sums, breaks);
        }
        self.present = values.len() as u64 + if breaks { 0 } else { self.present };
        self.longest = self.longest.max(self.present);
    }

    pub(super) fn points(&self, period_s: f64) -> Vec<AllanPoint> {
        let long = self.long.iter().map(|it| &it.differences);
        let all = self.short.factors.iter().chain(long);
        all.filter_map(|it| it.point(period_s)).collect()
    }
}

/// The overlapping Allan deviation of evenly sampled values at an averaging time of `factor` samples,
/// every overlap counted; `None` for a factor of 0 and for fewer than 2 `factor` values.
///
/// Source: Riley, Handbook of Frequency Stability Analysis, NIST Special Publication 1065, 2008,
/// 5.2.4; the example is its nine-point test set (12.4).
///
/// ```
/// use emberline::analysis::allan_deviation;
/// let values = [892.0, 809.0, 823.0, 798.0, 671.0, 644.0, 883.0, 903.0, 677.0];
/// let found = allan_deviation(&values, 2, 1.0).unwrap();
/// assert!((found.adev - 85.95287).abs() < 5e-6);
/// assert_eq!((found.tau_s, found.n), (2.0, 6));
/// ```
pub fn allan_deviation(values: &[f64], factor: usize, period_s: f64) -> Option<AllanPoint> {
    if factor == 0 {
        return None;
    }
    let mut short = Short::of(std::iter::once(factor));
    let centre = values.iter().sum::<f64>() / values.len() as f64;
    let off: Vec<f64> = values.iter().map(|value| value - centre).collect();
    short.add(&off, true);
    short.factors[0].point(period_s)
}

#[cfg(test)]
mod tests {
    use super::*;

    fn wave(count: usize) -> Vec<f64> {
        (0..count)
            .map(|i| (i as f64 * 0.7).sin() + (i as f64 * 0.01).cos())
            .collect()
    }

    #[test]
    fn in_pieces_it_is_the_same_as_at_once() {
        let values = wave(20_000);
        let mut allan = Allan::default();
        for (index, piece) in values.chunks(777).enumerate() {
            allan.add(piece, index == 0);
        }
        let points = allan.points(1.0);
        assert_eq!(points.len(), 14, "factors up to 8192");
        for point in &points[..10] {
            let known = allan_deviation(&values, point.tau_s as usize, 1.0).unwrap();
            assert!(
                (point.adev / known.adev - 1.0).abs() < 1e-9,
                "{point:?} {known:?}"
            );
            assert_eq!(point.n, known.n);
        }
        for point in &points[10..] {
            let known = allan_deviation(&values, point.tau_s as usize, 1.0).unwrap();
            assert!(
                (point.adev / known.adev - 1.0).abs() < 5e-3,
                "{point:?} {known:?}"
            );
            let stride = (point.tau_s / FULL as f64) as u64;
            assert_eq!(point.n, known.n.div_ceil(stride), "{point:?}");
        }
    }

    #[test]
    fn no_difference_reaches_over_a_gap() {
        let mut allan = Allan::default();
        allan.add(&[0.0, 1.0, 0.0], true);
        allan.add(&[100.0, 101.0], true);
        let points = allan.points(10.0);
        // Differences 1, -1 and 1: the root of half of 1; nothing for two samples at a time.
        assert_eq!(points.len(), 1);
        assert!((points[0].adev - 0.5_f64.sqrt()).abs() < 1e-12);
        assert_eq!((points[0].n, allan.longest), (3, 3));
    }
}
