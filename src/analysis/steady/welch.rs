//! The averaged periodogram of evenly spaced values.

use std::sync::Arc;

use realfft::{RealFftPlanner, RealToComplex};

/// So many segments are kept as they are, spread over the record.
const KEPT: usize = 16;

/// Periodograms of half-overlapping segments, averaged; and some of the segments.
pub(super) struct Welch {
    /// Values of a segment.
    pub(super) length: usize,
    /// Seconds between values.
    pub(super) spacing_s: f64,
    /// Segments so far.
    pub(super) count: u64,
    /// Sums over the segments of |X|^2, from frequency 0 on.
    power: Vec<f64>,
    kept: Vec<Vec<f64>>,
    /// Every so manyth segment is kept.
    keep_every: u64,
    window: Vec<f64>,
    waiting: Vec<f64>,
    transform: Arc<dyn RealToComplex<f64>>,
}

impl Welch {
    pub(super) fn new(length: usize, spacing_s: f64) -> Self {
        let hann = |at: usize| {
            (std::f64::consts::PI * at as f64 / length as f64)
                .sin()
                .powi(2)
        };
        Self {
            length,
            spacing_s,
            count: 0,
            power: vec![0.0; length / 2 + 1],
            kept: Vec::new(),
            keep_every: 1,
            window: (0..length).map(hann).collect(),
            waiting: Vec::with_capacity(length),
            transform: RealFftPlanner::new().plan_fft_forward(length),
        }
    }

    /// Values that follow those of before.
    pub(super) fn add(&mut self, values: &[f64]) {
        let mut rest = values;
        while !rest.is_empty() {
            let room = self.length - self.waiting.len();
            let (now, later) = rest.split_at(room.min(rest.len()));
            self.waiting.extend_from_slice(now);
            if self.waiting.len() == self.length {
                self.segment();
                self.waiting.drain(..self.length.div_ceil(2));
            }
            rest = later;
        }
    }

    /// What comes next does not follow.
    pub(super) fn break_off(&mut self) {
        self.waiting.clear();
    }

    fn segment(&mut self) {
        let mut values = without_trend(&self.waiting);
        if self.count.is_multiple_of(self.keep_every) {
            self.keep(values.clone());
        }
        for (value, window) in values.iter_mut().zip(&self.window) {
            *value *= window;
        }
        let mut spectrum = self.transform.make_output_vec();
        // Lengths are right by how both were made.
        if self.transform.process(&mut values, &mut spectrum).is_ok() {
            for (sum, value) in self.power.iter_mut().zip(&spectrum) {
                *sum += value.norm_sqr();
            }
            self.count += 1;
        }
    }

    fn keep(&mut self, segment: Vec<f64>) {
        self.kept.push(segment);
        if self.kept.len() > KEPT {
            let mut index = 0;
            self.kept.retain(|_| {
                index += 1;
                index % 2 == 1
            });
            self.keep_every *= 2;
        }
    }

    /// The averaged |X|^2, from frequency 0 on.
    pub(super) fn average(&self) -> Vec<f64> {
        let count = self.count.max(1) as f64;
        self.power.iter().map(|sum| sum / count).collect()
    }

    /// The segments that were kept, without their trends.
    pub(super) fn kept(&self) -> &[Vec<f64>] {
        &self.kept
    }

    /// Mean square of a sine's amplitude per |X|^2 at its frequency: the window has a mean of 1/2.
    pub(super) fn amplitude_squared(&self, power: f64) -> f64 {
        16.0 * power / (self.length as f64).powi(2)
    }
}

/// The values less the straight line through them.
fn without_trend(values: &[f64]) -> Vec<f64> {
    let count = values.len() as f64;
    let middle = (count - 1.0) / 2.0;
    let mean = values.iter().sum::<f64>() / count;
    let places = (0..values.len()).map(|at| at as f64 - middle);
    let products: f64 = places
        .clone()
        .zip(values)
        .map(|(at, value)| at * (value - mean))
        .sum();
    let squares = count * (count * count - 1.0) / 12.0;
    let slope = if squares > 0.0 {
        products / squares
    } else {
        0.0
    };
    places
        .zip(values)
        .map(|(at, value)| value - mean - slope * at)
        .collect()
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn a_sine_has_its_amplitude_at_its_frequency_on_any_slope() {
        let mut welch = Welch::new(256, 1.0);
        let turn = std::f64::consts::TAU * 20.0 / 256.0;
        let values: Vec<f64> = (0..1000)
            .map(|i| 3.0 * (turn * f64::from(i)).sin() + 0.1 * f64::from(i))
            .collect();
        welch.add(&values);
        let average = welch.average();
        let largest = (1..average.len()).max_by(|a, b| average[*a].total_cmp(&average[*b]));
        assert_eq!(largest, Some(20));
        assert!((welch.amplitude_squared(average[20]).sqrt() - 3.0).abs() < 0.01);
        // 256 values, then 128 more for each segment.
        assert_eq!(welch.count, 6);
    }

    #[test]
    fn the_kept_segments_are_spread_over_the_record() {
        let mut welch = Welch::new(8, 1.0);
        let values: Vec<f64> = (0..4000).map(|i| f64::from(i * i % 101)).collect();
        welch.add(&values);
        assert_eq!(welch.count, 999);
        assert!((KEPT / 2..=KEPT).contains(&welch.kept().len()));
    }
}
