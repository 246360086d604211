//! The sine that fits best.

use std::f64::consts::TAU;

use super::least::fit;

/// Halvings of the interval in which the frequency lies, by the golden section.
const STEPS: usize = 40;

/// Turns per value and amplitude (root mean square over the segments) of the sine whose fits to the
/// segments, each with a phase and a level of its own, leave least; between these frequencies.
pub(super) fn best(segments: &[Vec<f64>], from: f64, to: f64) -> (f64, f64) {
    let golden = (5.0_f64.sqrt() - 1.0) / 2.0;
    let (mut low, mut high) = (from, to);
    let mut left = high - golden * (high - low);
    let mut right = low + golden * (high - low);
    let (mut at_left, mut at_right) = (explained(segments, left), explained(segments, right));
    for _ in 0..STEPS {
        if at_left > at_right {
            (high, right, at_right) = (right, left, at_left);
            left = high - golden * (high - low);
            at_left = explained(segments, left);
        } else {
            (low, left, at_left) = (left, right, at_right);
            right = low + golden * (high - low);
            at_right = explained(segments, right);
        }
    }
    let frequency = f64::midpoint(low, high);
    (frequency, amplitude(segments, frequency))
}

/// Sum of squares that the sines take away.
fn explained(segments: &[Vec<f64>], frequency: f64) -> f64 {
    let of = |segment: &Vec<f64>| sine(segment, frequency).map_or(0.0, |it| it.explained);
    segments.iter().map(of).sum()
}

fn amplitude(segments: &[Vec<f64>], frequency: f64) -> f64 {
    let of = |segment: &Vec<f64>| sine(segment, frequency).map_or(0.0, |it| it.amplitude.powi(2));
    (segments.iter().map(of).sum::<f64>() / segments.len().max(1) as f64).sqrt()
}

struct Sine {
    amplitude: f64,
    explained: f64,
}

fn sine(values: &[f64], frequency: f64) -> Option<Sine> {
    // By turning on from value to value, which is much quicker than a sine of each.
    let (turn_sine, turn_cosine) = (TAU * frequency).sin_cos();
    let (mut s, mut c) = (0.0_f64, 1.0_f64);
    let mut right = [0.0; 3];
    let rows = values.iter().map(|value| {
        let terms = [1.0, s, c];
        for (sum, term) in right.iter_mut().zip(terms) {
            *sum += term * value;
        }
        (s, c) = (
            s * turn_cosine + c * turn_sine,
            c * turn_cosine - s * turn_sine,
        );
        (terms, *value, 1.0)
    });
    let found = fit::<3>(rows)?;
    let [_, sine, cosine] = found.coefficients;
    let explained = found
        .coefficients
        .iter()
        .zip(&right)
        .map(|(a, b)| a * b)
        .sum();
    Some(Sine {
        amplitude: sine.hypot(cosine),
        explained,
    })
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn frequency_and_amplitude_of_a_sine_come_out_whatever_its_phases() {
        let segment = |phase: f64| -> Vec<f64> {
            (0..500)
                .map(|i| 0.4 * (TAU * 0.0213 * f64::from(i) + phase).sin() + 7.0)
                .collect()
        };
        let (frequency, amplitude) = best(&[segment(0.3), segment(2.0)], 0.019, 0.023);
        assert!((frequency - 0.0213).abs() < 1e-7, "{frequency}");
        assert!((amplitude - 0.4).abs() < 1e-6, "{amplitude}");
    }
}
