//! The approach of a step: how far it went past the target before it had settled.

use super::noise::smoothed;
use super::settle::Settled;
use super::step::Findings;
use super::stretch::Stretch;

/// The largest excursion past the target during the approach.
#[derive(Clone, Debug, PartialEq)]
pub(crate) struct Overshoot {
    /// How far, not below 0.
    pub(crate) size: f64,
    /// The sample of the largest excursion; `None` without overshoot.
    pub(crate) peak: Option<usize>,
    /// First sample at or past the target; `None` when it never arrived.
    pub(crate) arrival: Option<usize>,
    /// One past the last sample of the approach.
    pub(crate) end: usize,
}

/// The overshoot from the first arrival at the target to the end of the approach.
pub(crate) fn overshoot(
    line: &Stretch,
    target: f64,
    sign: f64,
    band: Option<f64>,
    settled: Option<Settled>,
) -> Overshoot {
    let past: Vec<f64> = line.y.iter().map(|y| sign * (y - target)).collect();
    let arrival = past.iter().position(|past| *past >= 0.0);
    let end = match (settled, band) {
        (Some(settled), Some(band)) => approach_end(&line.t, &past, band, settled),
        _ => past.len(),
    };
    let arrived = arrival.filter(|arrival| *arrival < end);
    let (size, peak) = arrived.map_or((0.0, None), |first| largest(&past, first, end));
    Overshoot {
        size,
        peak,
        arrival: arrived,
        end,
    }
}

/// One past the last sample of the approach: up to settled plus the dwell, and on to the end of an
/// excursion past the target that is then under way or still to come, as long as it stays in the
/// band. Without this, an overshoot smaller than the band would be cut off before its peak.
fn approach_end(t: &[f64], past: &[f64], band: f64, settled: Settled) -> usize {
    let dwelt = t.partition_point(|t| *t <= settled.at_s + settled.dwell_s);
    let arrived = past[..dwelt].iter().any(|past| *past >= 0.0);
    if arrived {
        let under_way = past[dwelt - 1] > 0.0;
        return dwelt
            + run(&past[dwelt..], |past| {
                under_way && past > 0.0 && past <= band
            });
    }
    let still_to_come = run(&past[dwelt..], |past| past < 0.0 && past >= -band);
    let arrival = dwelt + still_to_come;
    match run(&past[arrival..], |past| past >= 0.0 && past <= band) {
        0 => dwelt,
        excursion => arrival + excursion,
    }
}

/// How many values from the first on are so.
fn run(values: &[f64], so: impl Fn(f64) -> bool) -> usize {
    values.iter().take_while(|value| so(**value)).count()
}

fn largest(past: &[f64], first: usize, end: usize) -> (f64, Option<usize>) {
    let mut best = (0.0, None);
    for (index, size) in past.iter().enumerate().take(end).skip(first) {
        if *size > best.0 {
            best = (*size, Some(index));
        }
    }
    best
}

impl Overshoot {
    /// The same with the noise smoothed away.
    pub(crate) fn smoothed(&self, found: &Findings<'_>) -> f64 {
        let smooth = smoothed(&found.line.y);
        let first = self.arrival.unwrap_or(self.end).min(self.end);
        smooth[first..self.end]
            .iter()
            .map(|y| found.sign * (y - found.step.target))
            .fold(0.0, f64::max)
    }
}

#[cfg(test)]
mod tests {
    use super::*;

    fn every_second(y: &[f64]) -> Stretch {
        Stretch {
            t: (0..y.len()).map(|i| i as f64).collect(),
            y: y.to_vec(),
        }
    }

    fn settled_at(at_s: f64, dwell_s: f64) -> Settled {
        Settled { at_s, dwell_s }
    }

    #[test]
    fn an_overshoot_inside_the_band_is_followed_to_its_peak() {
        let line = every_second(&[0.0, 5.0, 9.0, 10.0, 10.5, 11.0, 10.5, 10.0, 9.9, 10.1]);
        let found = overshoot(&line, 10.0, 1.0, Some(2.0), Some(settled_at(2.0, 2.0)));
        assert_eq!((found.size, found.peak), (1.0, Some(5)));
    }

    #[test]
    fn a_slow_arrival_inside_the_band_still_counts() {
        let line = every_second(&[0.0, 8.5, 9.0, 9.2, 9.5, 9.8, 10.0, 10.4, 10.0, 9.9]);
        let found = overshoot(&line, 10.0, 1.0, Some(2.0), Some(settled_at(1.0, 2.0)));
        assert!((found.size - 0.4).abs() < 1e-12);
    }

    #[test]
    fn what_follows_a_later_disturbance_is_not_overshoot() {
        let line = every_second(&[0.0, 8.5, 9.0, 9.2, 5.0, 9.8, 10.0, 14.0, 10.0, 9.9]);
        let found = overshoot(&line, 10.0, 1.0, Some(2.0), Some(settled_at(1.0, 2.0)));
        assert_eq!((found.size, found.peak), (0.0, None));
    }
}
