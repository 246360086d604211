//! The numbers of a hold or a soak.

use super::cycles::{Cycles, cycles};
use super::episode::{NONE, Note, StepNumbers};
use super::own::HoldNumbers;
use super::rest::LastPart;
use super::settle::stays;
use super::stretch::Stretch;
use crate::trace::Trace;

/// A cycle that lasts has so many whole cycles, and spreads under this part of their means.
const LASTING: usize = 5;
const REGULAR: f64 = 0.2;

/// A stretch in which the loop holds.
#[derive(Clone, Copy, Debug)]
pub(crate) struct Holding {
    pub(crate) from_s: f64,
    pub(crate) to_s: f64,
    /// The setpoint then, where it is known.
    pub(crate) setpoint: Option<f64>,
    pub(crate) is_soak: bool,
    /// Whether it begins where a step or a ramp had settled.
    pub(crate) begins_settled: bool,
}

/// Fills in the numbers of a hold, and says why one is not there.
pub(crate) fn measure(
    trace: &Trace<'_>,
    hold: Holding,
    band: Option<f64>,
    numbers: &mut StepNumbers,
) -> (HoldNumbers, Vec<Note>) {
    let line = Stretch::cut(trace, hold.from_s, hold.to_s);
    let mut notes = Vec::new();
    let samples = Stretch::samples(trace, hold.from_s, hold.to_s);
    let last = LastPart::of(&samples, hold.to_s - hold.from_s);
    numbers.final_error = hold.setpoint.and_then(|target| last.mean_over(target));
    if numbers.final_error.is_none() {
        let (code, text) = match hold.setpoint {
            None => ("no-setpoint", "no setpoint is known here"),
            Some(_) => ("few-samples", "there is no sample in the last tenth"),
        };
        notes.push(Note::new(code, "final_error", text));
    }
    let cycle = cycles(&line, numbers.noise_sd.unwrap_or_default()).filter(Cycles::lasts);
    numbers.amplitude = cycle.as_ref().map(|cycle| cycle.amplitude.mean);
    numbers.period_s = cycle.as_ref().map(|cycle| cycle.period.mean);
    if cycle.is_none() {
        let text = "it does not swing evenly for five whole cycles";
        notes.extend(["amplitude", "period_s"].map(|about| Note::new(NONE, about, text)));
    }
    let mut own = spread(&samples.y);
    if own.sd.is_none() {
        notes.extend(
            ["sd", "peak_to_peak"]
                .map(|about| Note::new("few-samples", about, "a spread takes two samples")),
        );
    }
    if hold.is_soak {
        own.in_band_s = hold
            .setpoint
            .zip(band)
            .map(|(target, band)| in_band_s(&line, target, band));
        if own.in_band_s.is_none() {
            notes.push(Note::new(
                "no-band",
                "in_band_s",
                "no band is known: give one with --band, or in the setup",
            ));
        }
    }
    (own, notes)
}

impl Cycles {
    fn lasts(&self) -> bool {
        self.count >= LASTING && self.period.is_under(REGULAR) && self.amplitude.is_under(REGULAR)
    }
}

/// Time on which the line is within the band, in seconds.
fn in_band_s(line: &Stretch, target: f64, band: f64) -> f64 {
    stays(line, target, band)
        .iter()
        .map(|stay| stay.ends_s - stay.begins_s)
        .fold(crossed_s(line, target, band), |sum, stay| sum + stay)
}

/// Time within the band of the lines that cross all of it between two samples.
fn crossed_s(line: &Stretch, target: f64, band: f64) -> f64 {
    let pairs = line.t.windows(2).zip(line.y.windows(2));
    pairs
        .map(|(t, y)| {
            let (from, to) = (y[0] - target, y[1] - target);
            let crosses = from.abs() > band && to.abs() > band && from * to < 0.0;
            if crosses {
                (t[1] - t[0]) * 2.0 * band / (to - from).abs()
            } else {
                0.0
            }
        })
        .fold(0.0, |sum, part| sum + part)
}

/// Of the samples themselves.
fn spread(values: &[f64]) -> HoldNumbers {
    if values.len() < 2 {
        return HoldNumbers::default();
    }
    let count = values.len() as f64;
    // Beside the first value sums stay small, so that no digits are lost.
    let first = values[0];
    let mean = values.iter().map(|y| y - first).sum::<f64>() / count;
    let squares: f64 = values.iter().map(|y| (y - first - mean).powi(2)).sum();
    let (low, high) = values
        .iter()
        .fold((f64::INFINITY, f64::NEG_INFINITY), |(low, high), y| {
            (low.min(*y), high.max(*y))
        });
    HoldNumbers {
        sd: Some((squares / (count - 1.0)).sqrt()),
        peak_to_peak: Some(high - low),
        in_band_s: None,
    }
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn time_in_band_is_that_of_the_line() {
        // Up through the whole band of +-1 between two samples (half a second), in for two seconds,
        // out for half of the last.
        let line = Stretch {
            t: vec![0.0, 1.0, 2.0, 3.0, 4.0, 5.0],
            y: vec![8.0, 12.0, 10.5, 10.5, 10.0, 12.0],
        };
        // 0.5 s, then from 11 (a third of the way down) to 4.5 s.
        let expected = 0.5 + (4.5 - (1.0 + 2.0 / 3.0));
        assert!((in_band_s(&line, 10.0, 1.0) - expected).abs() < 1e-12);
    }

    #[test]
    fn a_spread_is_that_of_the_samples() {
        let found = spread(&[500.0, 501.0, 503.0]);
        // Mean 4/3 over 500: squares 16/9 + 1/9 + 25/9 = 42/9, over 2.
        assert!((found.sd.unwrap() - (7.0_f64 / 3.0).sqrt()).abs() < 1e-12);
        assert_eq!(found.peak_to_peak, Some(3.0));
    }
}
