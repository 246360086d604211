//! From the swings of a relay to three numbers.

use std::f64::consts::PI;

use super::settings::Tuning;

/// What one swing between two switch-ons looked like.
#[derive(Clone, Copy, Debug, PartialEq)]
pub struct Swing {
    /// Its length, s.
    pub period_s: f64,
    /// How much of it the output was on, s.
    pub on_s: f64,
    /// Highest process value in it.
    pub highest: f64,
    /// Lowest process value in it.
    pub lowest: f64,
}

impl Swing {
    /// Half of peak to peak, degrees.
    pub fn amplitude(&self) -> f64 {
        0.5 * (self.highest - self.lowest)
    }
}

/// The point at which the loop would oscillate for ever under proportional control alone.
#[derive(Clone, Copy, Debug, PartialEq)]
pub struct Ultimate {
    /// Ultimate gain, percent of output per degree.
    pub gain: f64,
    /// Ultimate period, s.
    pub period_s: f64,
}

/// The ultimate point from swings under a relay between two outputs `span` percent apart, with
/// this hysteresis (half width, degrees). `None` without swings or where they are no larger than
/// the hysteresis.
///
/// Describing function of a relay: `Ku = 4 d / (pi a)`, with hysteresis `a` becomes
/// `sqrt(a^2 - e^2)` (Astrom and Hagglund 1984, Automatica 20(5)). The output's first harmonic is
/// `4 d / pi * sin(pi on / period)`, which is `4 d / pi` for equal halves: an oven heats faster
/// than it cools, or slower, and then the halves are not equal (Fourier series of a pulse train).
pub fn ultimate(swings: &[Swing], span: f64, hysteresis: f64) -> Option<Ultimate> {
    let n = swings.len() as f64;
    let mean = |of: fn(&Swing) -> f64| swings.iter().map(of).sum::<f64>() / n;
    let (period_s, on_s) = (mean(|s| s.period_s), mean(|s| s.on_s));
    let amplitude = mean(Swing::amplitude);
    let about = amplitude * amplitude - hysteresis * hysteresis;
    if !(about > 0.0 && period_s > 0.0) {
        return None;
    }
    let first_harmonic = 2.0 * span / PI * (PI * on_s / period_s).sin();
    Some(Ultimate {
        gain: first_harmonic / about.sqrt(),
        period_s,
    })
}

/// A published rule from the ultimate point to the three numbers of the standard form.
#[derive(Clone, Copy, Debug, PartialEq, Eq)]
pub enum TuningRule {
    /// Ziegler and Nichols 1942, Trans. ASME 64: `Kc = 0.6 Ku, Ti = Pu / 2, Td = Pu / 8`.
    ZieglerNichols1942,
    /// Tyreus and Luyben 1992, Ind. Eng. Chem. Res. 31:
    /// `Kc = Ku / 2.2, Ti = 2.2 Pu, Td = Pu / 6.3`.
    TyreusLuyben1992,
}

impl TuningRule {
    /// Author and year.
    pub fn name(self) -> &'static str {
        match self {
            Self::ZieglerNichols1942 => "Ziegler and Nichols 1942",
            Self::TyreusLuyben1992 => "Tyreus and Luyben 1992",
        }
    }

    /// The rule's three numbers for this ultimate point.
    pub fn tuning(self, at: Ultimate) -> Tuning {
        let (gain, integral_s, derivative_s) = match self {
            Self::ZieglerNichols1942 => (0.6 * at.gain, 0.5 * at.period_s, at.period_s / 8.0),
            Self::TyreusLuyben1992 => (at.gain / 2.2, 2.2 * at.period_s, at.period_s / 6.3),
        };
        Tuning::new(100.0 / gain, integral_s, derivative_s)
    }
}

#[cfg(test)]
mod tests {
    use super::*;

    fn swing(period_s: f64, on_s: f64, amplitude: f64) -> Swing {
        Swing {
            period_s,
            on_s,
            highest: 510.0 + amplitude,
            lowest: 510.0 - amplitude,
        }
    }

    /// Closed form: d = 50, a = 5, no hysteresis.
    #[test]
    fn equal_halves_give_four_d_over_pi_a() {
        let at = ultimate(&[swing(200.0, 100.0, 5.0)], 100.0, 0.0).unwrap();
        assert!((at.gain - 4.0 * 50.0 / (PI * 5.0)).abs() < 1e-12);
        assert!((at.period_s - 200.0).abs() < 1e-12);
    }

    /// Closed form: 3-4-5.
    #[test]
    fn hysteresis_counts_as_the_describing_function_says() {
        let at = ultimate(&[swing(200.0, 100.0, 5.0)], 100.0, 3.0).unwrap();
        assert!((at.gain - 4.0 * 50.0 / (PI * 4.0)).abs() < 1e-12);
    }

    #[test]
    fn swings_within_the_hysteresis_tell_nothing() {
        assert_eq!(ultimate(&[swing(200.0, 100.0, 0.5)], 100.0, 0.5), None);
        assert_eq!(ultimate(&[], 100.0, 0.5), None);
    }

    /// Coefficients as published (from memory).
    #[test]
    fn the_rules_give_their_published_multiples() {
        let at = Ultimate {
            gain: 10.0,
            period_s: 252.0,
        };
        let zn = TuningRule::ZieglerNichols1942.tuning(at);
        assert!((zn.gain() - 6.0).abs() < 1e-9);
        assert!((zn.integral_s - 126.0).abs() < 1e-9 && (zn.derivative_s - 31.5).abs() < 1e-9);
        let tl = TuningRule::TyreusLuyben1992.tuning(at);
        assert!((tl.gain() - 10.0 / 2.2).abs() < 1e-9);
        assert!((tl.integral_s - 554.4).abs() < 1e-9 && (tl.derivative_s - 40.0).abs() < 1e-9);
    }
}
