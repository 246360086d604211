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

/// What an excursion past the target is measured by.
#[derive(Clone, Copy, Debug)]
pub(crate) struct Approach<'a> {
    pub(crate) line: &'a Stretch,
    pub(crate) target: f64,
    pub(crate) sign: f64,
    pub(crate) band: Option<f64>,
    /// An excursion has to be larger than this to be one.
    pub(crate) significant: f64,
}

impl Approach<'_> {
    /// The overshoot from the first arrival at the target to the end of the approach.
    pub(crate) fn overshoot(&self, settled: Option<Settled>) -> Overshoot {
        let past: Vec<f64> = (self.line.y.iter())
            .map(|y| self.sign * (y - self.target))
            .collect();
        let arrival = past.iter().position(|past| *past >= 0.0);
        let end = match (settled, self.band) {
            (Some(settled), Some(band)) => self.end(&past, band, settled),
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

    /// One past the last sample of the approach: up to settled plus the dwell, and on to the end of
    /// a first significant excursion that is then under way, or that begins before as much time
    /// again has gone by, as long as the line keeps to the band. Without this an overshoot smaller
    /// than the band would be cut off before its peak.
    fn end(&self, past: &[f64], band: f64, settled: Settled) -> usize {
        let dwelt_s = settled.at_s + settled.dwell_s;
        let sample_after = |at_s: f64| self.line.t.partition_point(|t| *t <= at_s);
        let (dwelt, latest) = (sample_after(dwelt_s), sample_after(dwelt_s + settled.at_s));
        let significant = |past: &f64| *past > self.significant;
        let Some(first) = past[..latest].iter().position(significant) else {
            return dwelt;
        };
        let from = first.max(dwelt);
        let goes_on = past[from..].iter().take_while(|past| **past > 0.0);
        let end = from + goes_on.count();
        let under_way = past[first..from].iter().all(|past| *past > 0.0);
        let in_band = past[dwelt..end].iter().all(|past| past.abs() <= band);
        if under_way && in_band { end } else { dwelt }
    }
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
    /// When the approach ended.
    pub(crate) fn end_s(&self, line: &Stretch) -> f64 {
        let last = self.end.checked_sub(1).and_then(|last| line.t.get(last));
        last.copied().unwrap_or_default()
    }

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

    fn overshoot(y: &[f64], at_s: f64, dwell_s: f64) -> (f64, Option<usize>) {
        let approach = Approach {
            line: &every_second(y),
            target: 10.0,
            sign: 1.0,
            band: Some(2.0),
            significant: 0.25,
        };
        let found = approach.overshoot(Some(Settled { at_s, dwell_s }));
        (found.size, found.peak)
    }

    #[test]
    fn an_overshoot_inside_the_band_is_followed_to_its_peak() {
        let y = [0.0, 5.0, 9.0, 10.0, 10.5, 11.0, 10.5, 10.0, 9.9, 10.1];
        assert_eq!(overshoot(&y, 2.0, 2.0), (1.0, Some(5)));
    }

    #[test]
    fn a_slow_arrival_inside_the_band_still_counts() {
        // The flicker about the target before it is noise, not the overshoot.
        let y = [
            0.0, 1.0, 4.0, 8.5, 9.0, 10.1, 9.9, 10.5, 10.75, 10.5, 9.9, 9.9,
        ];
        assert_eq!(overshoot(&y, 3.0, 1.0), (0.75, Some(8)));
    }

    #[test]
    fn what_follows_a_later_disturbance_is_not_overshoot() {
        let dip = [0.0, 8.5, 9.0, 9.2, 5.0, 9.8, 10.0, 11.5, 10.0, 9.9];
        // Inside the dwell it is still the approach.
        assert_eq!(overshoot(&dip, 1.0, 9.0), (1.5, Some(7)));
        assert_eq!(overshoot(&dip, 1.0, 2.0), (0.0, None));
        let rise = [0.0, 9.0, 10.0, 10.5, 10.0, 10.0, 11.0, 13.0, 10.0];
        assert_eq!(overshoot(&rise, 1.0, 4.0), (0.5, Some(3)));
    }
}
