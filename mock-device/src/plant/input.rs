//! The controller's thermocouple input: noise, quantisation and a wire that can break.

use rand::Rng;
use rand_chacha::ChaCha8Rng;
use rand_chacha::rand_core::SeedableRng;

use super::parameters::Probe;

/// The input, with its own stream of noise.
#[derive(Clone, Debug)]
pub(crate) struct Input {
    noise: ChaCha8Rng,
    broken: bool,
}

impl Input {
    /// An input whose noise is decided by `seed`.
    pub(crate) fn new(seed: u64) -> Self {
        Self {
            noise: ChaCha8Rng::seed_from_u64(seed),
            broken: false,
        }
    }

    /// Breaks or mends the thermocouple.
    pub(crate) fn set_broken(&mut self, broken: bool) {
        self.broken = broken;
    }

    /// Whether the thermocouple is broken.
    pub(crate) fn is_broken(&self) -> bool {
        self.broken
    }

    /// What the input makes of the probe's true temperature; `None` from a broken thermocouple.
    ///
    /// Noise is drawn even then, so that a break does not shift what comes after it.
    pub(crate) fn read(&mut self, true_c: f64, probe: &Probe) -> Option<f64> {
        let noisy = true_c + probe.noise_c * standard_normal(&mut self.noise);
        (!self.broken).then(|| quantised(noisy, probe.resolution_c))
    }
}

/// A number of mean 0 and variance 1: the sum of twelve uniform ones less six (Irwin-Hall).
///
/// Its tails end at six; in return it needs no logarithm or cosine, whose last bit differs between
/// machines.
fn standard_normal(random: &mut ChaCha8Rng) -> f64 {
    let sum: u64 = (0..12).map(|_| u64::from(random.next_u32())).sum();
    sum as f64 / f64::from(u32::MAX) - 6.0
}

fn quantised(value: f64, resolution: f64) -> f64 {
    if resolution > 0.0 {
        (value / resolution).round() * resolution
    } else {
        value
    }
}

#[cfg(test)]
mod tests {
    use super::super::parameters::annealing_oven;
    use super::*;

    /// Closed form: mean 0, variance 1, and lag-1 correlation 0 within four standard errors.
    #[test]
    fn noise_has_the_mean_and_spread_it_claims() {
        let mut random = ChaCha8Rng::seed_from_u64(7);
        let n = 100_000;
        let drawn: Vec<f64> = (0..n).map(|_| standard_normal(&mut random)).collect();
        let mean = drawn.iter().sum::<f64>() / f64::from(n);
        let variance = drawn.iter().map(|x| x * x).sum::<f64>() / f64::from(n);
        let lag1 = drawn.windows(2).map(|w| w[0] * w[1]).sum::<f64>() / f64::from(n);
        assert!(mean.abs() < 0.0127, "{mean}");
        assert!((variance - 1.0).abs() < 0.018, "{variance}");
        assert!(lag1.abs() < 0.0127, "{lag1}");
    }

    #[test]
    fn a_broken_thermocouple_reads_nothing_and_does_not_shift_the_noise_after_it() {
        let probe = annealing_oven().probe;
        let (mut whole, mut mended) = (Input::new(3), Input::new(3));
        mended.set_broken(true);
        assert!(whole.read(500.0, &probe).is_some());
        assert_eq!(mended.read(500.0, &probe), None);
        mended.set_broken(false);
        assert_eq!(mended.read(500.0, &probe), whole.read(500.0, &probe));
    }

    #[test]
    fn readings_are_whole_multiples_of_the_resolution() {
        assert!((quantised(491.26, 0.1) - 491.3).abs() < 1e-9);
        assert!((quantised(491.26, 0.0) - 491.26).abs() < 1e-12);
    }
}
