//! The cycles of a process value that swings to and fro.

use super::noise::{median, resolution};
use super::stretch::Stretch;

/// A swing has to pass the middle by so many standard deviations of the noise.
const SWING_OVER_NOISE: f64 = 3.0;
/// The first rise and the first peak belong to no cycle.
const FIRST_SWINGS: usize = 2;
/// A spread is told of so many cycles.
const SPREAD_OF: usize = 3;

/// Whole cycles, the first one left out.
#[derive(Clone, Debug, PartialEq)]
pub(crate) struct Cycles {
    pub(crate) count: usize,
    /// Seconds.
    pub(crate) period: Spread,
    /// Half peak to peak, degrees.
    pub(crate) amplitude: Spread,
    /// The samples between which they lie.
    pub(crate) first: usize,
    pub(crate) last: usize,
}

/// A mean and how far the single values lie from it.
#[derive(Clone, Copy, Debug, PartialEq)]
pub(crate) struct Spread {
    pub(crate) mean: f64,
    /// Standard deviation (n - 1), of three or more.
    pub(crate) sd: Option<f64>,
}

/// A stay on one side of the middle.
#[derive(Clone, Copy, Debug)]
struct Swing {
    above: bool,
    /// The sample farthest from the middle, the first of equals.
    peak: usize,
}

/// The whole cycles of a line after the first; `None` where there is none.
///
/// A half-cycle is a stay on one side of the middle (the median of the line's later half): it begins
/// with the first sample that passes the middle by more than three times the noise, or one digit of
/// the sensor. That much hysteresis about the middle, not about each peak: near a peak white noise
/// alone turns round by more.
pub(crate) fn cycles(line: &Stretch, noise_sd: f64) -> Option<Cycles> {
    let hysteresis = (SWING_OVER_NOISE * noise_sd).max(resolution(&line.y));
    let half = line.t.partition_point(|t| *t < 0.5 * line.end_s());
    let middle = median(line.y[half..].to_vec())?;
    let swings = whole_swings(&line.y, middle, hysteresis);
    let peaks: Vec<usize> = swings
        .iter()
        .skip(FIRST_SWINGS)
        .map(|swing| swing.peak)
        .collect();
    let cycles = || {
        peaks
            .windows(3)
            .step_by(2)
            .map(|three| [three[0], three[1], three[2]])
    };
    let height = |a: usize, b: usize| (line.y[a] - line.y[b]).abs();
    let periods: Vec<f64> = cycles().map(|[a, _, c]| line.t[c] - line.t[a]).collect();
    let amplitudes: Vec<f64> = cycles()
        .map(|[a, b, c]| 0.25 * (height(a, b) + height(b, c)))
        .collect();
    Some(Cycles {
        count: periods.len(),
        first: *peaks.first()?,
        last: cycles().next_back()?[2],
        period: Spread::of(&periods)?,
        amplitude: Spread::of(&amplitudes)?,
    })
}

/// Every stay on one side; the last one only if it has turned.
fn whole_swings(y: &[f64], middle: f64, hysteresis: f64) -> Vec<Swing> {
    let mut found: Vec<Swing> = Vec::new();
    for (index, value) in y.iter().enumerate() {
        let off = value - middle;
        let beyond = off.abs() > hysteresis;
        let under_way = found.last_mut();
        match under_way.filter(|swing| !beyond || (off > 0.0) == swing.above) {
            Some(swing) => swing.reach(y, index),
            None if beyond => found.push(Swing {
                above: off > 0.0,
                peak: index,
            }),
            None => {}
        }
    }
    let turned = |swing: &Swing| {
        let peak = swing.out(y[swing.peak]);
        y[swing.peak..]
            .iter()
            .any(|value| peak - swing.out(*value) > hysteresis)
    };
    if found.last().is_some_and(|last| !turned(last)) {
        found.pop();
    }
    found
}

impl Swing {
    fn reach(&mut self, y: &[f64], index: usize) {
        if self.out(y[index]) > self.out(y[self.peak]) {
            self.peak = index;
        }
    }

    fn out(&self, value: f64) -> f64 {
        if self.above { value } else { -value }
    }
}

impl Spread {
    fn of(values: &[f64]) -> Option<Self> {
        let count = values.len() as f64;
        let mean = values.iter().sum::<f64>() / count;
        let squares: f64 = values.iter().map(|value| (value - mean).powi(2)).sum();
        let sd = (values.len() >= SPREAD_OF).then(|| (squares / (count - 1.0)).sqrt());
        (!values.is_empty()).then_some(Self { mean, sd })
    }

    /// Whether the spread is known and under this part of the mean.
    pub(crate) fn is_under(&self, part: f64) -> bool {
        self.sd.is_some_and(|sd| sd < part * self.mean)
    }
}

#[cfg(test)]
mod tests {
    use super::*;

    fn line(seconds: u32, value: impl Fn(f64) -> f64) -> Stretch {
        let t: Vec<f64> = (0..seconds).map(f64::from).collect();
        Stretch {
            y: t.iter().map(|t| value(*t)).collect(),
            t,
        }
    }

    #[test]
    fn a_sine_after_a_rise_has_its_own_period_and_amplitude() {
        let wave = |t: f64| 5.0 * (t / 80.0 * std::f64::consts::TAU).sin();
        let line = line(900, |t| {
            if t < 100.0 {
                t
            } else {
                100.0 + wave(t - 100.0)
            }
        });
        let found = cycles(&line, 0.0).unwrap();
        assert_eq!(found.count, 9);
        assert!((found.period.mean - 80.0).abs() < 1e-9, "{found:?}");
        assert!((found.amplitude.mean - 5.0).abs() < 1e-9, "{found:?}");
        assert!(found.amplitude.is_under(1e-9 + f64::EPSILON) && found.period.is_under(0.01));
        // The rise and the first peak, at 120 s, are left out: the first trough is at 160 s.
        assert_eq!((found.first, found.last), (160, 880));
    }

    #[test]
    fn noise_near_a_peak_is_no_swing() {
        // 40 degrees per cycle, noise of 0.5 that turns round by more than 1.5 now and then.
        let noise = |t: f64| 0.9 * (t * 12.9898).sin() * (t * 78.233).cos();
        let line = line(6000, |t| {
            20.0 * (t / 600.0 * std::f64::consts::TAU).sin() + noise(t)
        });
        let found = cycles(&line, super::super::noise::noise_sd(&line.y)).unwrap();
        assert_eq!(found.count, 9 - 1);
        assert!((found.period.mean - 600.0).abs() < 10.0);
    }

    #[test]
    fn a_line_that_does_not_swing_has_none() {
        assert_eq!(cycles(&line(600, |t| 0.01 * t), 0.0), None);
        assert_eq!(cycles(&line(600, |_| 510.0), 0.0), None);
        assert_eq!(cycles(&line(0, |_| 510.0), 0.0), None);
    }
}
