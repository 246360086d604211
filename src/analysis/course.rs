//! The course of a step: how it arrived at the target, swung about it and settled.

use super::approach::{Approach, Overshoot};
use super::noise::{median, resolution};
use super::settle::{Dwell, Settled, settled};
use super::stretch::Stretch;
use super::swings::{Oscillation, oscillation};

/// Swings smaller than so many standard deviations of the noise are noise.
const SWING_OVER_NOISE: f64 = 3.0;
/// A late overshoot inside the band must be larger than so many.
const LATE_OVER_NOISE: f64 = 6.0;
/// It must also stand out from what the loop does all the time, by so many standard deviations.
const LATE_OVER_WANDER: f64 = 4.0;
/// Standard deviation of a normal variable over its median absolute deviation.
const SD_OVER_MAD: f64 = 1.482_602_218_505_602;

/// Where a step goes and what it is judged by.
#[derive(Clone, Copy, Debug)]
pub(crate) struct Aim<'a> {
    pub(crate) line: &'a Stretch,
    pub(crate) target: f64,
    pub(crate) sign: f64,
    /// The usual interval between samples.
    pub(crate) sample_s: f64,
    pub(crate) noise_sd: f64,
}

/// What the line did.
#[derive(Clone, Debug)]
pub(crate) struct Course {
    pub(crate) oscillation: Oscillation,
    pub(crate) settled: Option<Settled>,
    pub(crate) settled_2pct: Option<Settled>,
    pub(crate) overshoot: Overshoot,
}

/// Judges a line with the band to settle in and with 2 % of the step, where there are such.
pub(crate) fn course(aim: Aim<'_>, band: Option<f64>, two_percent: Option<f64>) -> Course {
    let resolution = resolution(&aim.line.y);
    let hysteresis = (SWING_OVER_NOISE * aim.noise_sd).max(resolution);
    let approach = Approach {
        line: aim.line,
        target: aim.target,
        sign: aim.sign,
        band,
        significant: (LATE_OVER_NOISE * aim.noise_sd)
            .max(LATE_OVER_WANDER * wander(aim.line))
            .max(resolution),
    };
    let settled_in = |band: Option<f64>, oscillation_s: Option<f64>| {
        let dwell = Dwell {
            sample_s: aim.sample_s,
            oscillation_s,
        };
        settled(aim.line, aim.target, band?, dwell, hysteresis)
    };
    // Only swings that begin in the approach are the step's own, and those that never end and leave the
    // band; others are the hold's. So the approach is found without them first.
    let begun_s = approach.overshoot(settled_in(band, None)).end_s(aim.line);
    let all = oscillation(aim.line, aim.target, aim.sign, hysteresis);
    let own = |band| all.of_step(begun_s, band);
    let settled = settled_in(band, own(band).period_s);
    Course {
        oscillation: own(band),
        settled,
        settled_2pct: settled_in(two_percent, own(two_percent).period_s),
        overshoot: approach.overshoot(settled),
    }
}

/// Standard deviation of the later half of the line, robust to single disturbances: what the loop
/// does all the time.
fn wander(line: &Stretch) -> f64 {
    let half = line.t.partition_point(|t| *t < 0.5 * line.end_s());
    let later = &line.y[half..];
    let middle = median(later.to_vec()).unwrap_or_default();
    let off = later.iter().map(|y| (y - middle).abs()).collect();
    SD_OVER_MAD * median(off).unwrap_or_default()
}

#[cfg(test)]
mod tests {
    use super::*;

    /// A rise to 10 in 100 s that goes over by `over` for 100 s, and then wanders by `wander`.
    fn overshoot(over: f64, wander: f64) -> f64 {
        let wave = |t: f64, length: f64| (t / length * std::f64::consts::TAU).sin();
        let t: Vec<f64> = (0..3000).map(f64::from).collect();
        let y = |t: &f64| match *t {
            ..100.0 => t / 10.0,
            100.0..200.0 => 10.0 + over * wave(t - 100.0, 200.0),
            _ => 10.0 + wander * wave(t - 200.0, 150.0),
        };
        let line = Stretch {
            y: t.iter().map(y).collect(),
            t,
        };
        let aim = Aim {
            line: &line,
            target: 10.0,
            sign: 1.0,
            sample_s: 1.0,
            noise_sd: 0.0,
        };
        course(aim, Some(2.0), Some(0.2)).overshoot.size
    }

    #[test]
    fn a_late_overshoot_inside_the_band_counts_when_it_stands_out() {
        assert!((overshoot(1.5, 0.05) - 1.5).abs() < 1e-9);
        assert!((overshoot(1.5, 0.0) - 1.5).abs() < 1e-9);
    }

    #[test]
    fn what_the_loop_does_all_the_time_is_not_overshoot() {
        assert!(overshoot(0.5, 0.5).abs() < 1e-9);
    }
}
