//! The integral criteria of a step.

/// The four integrals of the error e = target - y over a window.
///
/// They are sums over a window, never "to infinity": with an offset or a lasting oscillation there
/// is no infinite value.
#[derive(Clone, Copy, Debug, Default, PartialEq)]
pub struct Integrals {
    /// Integral of |e|, degree.s.
    pub iae: f64,
    /// Integral of e^2, degree^2.s.
    pub ise: f64,
    /// Integral of t |e|, degree.s^2.
    pub itae: f64,
    /// Integral of t e^2, degree^2.s^2.
    pub itse: f64,
}

/// The integrals by the trapezoidal rule over the samples: `t` seconds since the step, `y` the
/// process value. Both have one length; all 0 for fewer than two samples.
///
/// ```
/// use emberline::analysis::integrals;
/// // A straight approach from 0 to 10 in 2 s, sampled at both ends: the area of a triangle.
/// let found = integrals(&[0.0, 2.0], &[0.0, 10.0], 10.0);
/// assert_eq!(found.iae, 10.0);
/// assert_eq!(found.ise, 100.0);
/// assert_eq!(found.itae, 0.0);
/// ```
pub fn integrals(t: &[f64], y: &[f64], target: f64) -> Integrals {
    let mut sums = [Sum::default(); 4];
    let samples: Vec<_> = t.iter().zip(y).collect();
    for pair in samples.windows(2) {
        let ((t0, y0), (t1, y1)) = (pair[0], pair[1]);
        let (from, to) = (weighted(*t0, target - y0), weighted(*t1, target - y1));
        for (sum, (a, b)) in sums.iter_mut().zip(from.into_iter().zip(to)) {
            sum.add(f64::midpoint(a, b) * (t1 - t0));
        }
    }
    let [iae, ise, itae, itse] = sums.map(Sum::total);
    Integrals {
        iae,
        ise,
        itae,
        itse,
    }
}

fn weighted(t: f64, e: f64) -> [f64; 4] {
    [e.abs(), e * e, t * e.abs(), t * e * e]
}

/// A sum that loses nothing to rounding however long the record (Neumaier 1974).
#[derive(Clone, Copy, Debug, Default)]
struct Sum {
    sum: f64,
    lost: f64,
}

impl Sum {
    fn add(&mut self, term: f64) {
        let next = self.sum + term;
        self.lost += if self.sum.abs() >= term.abs() {
            (self.sum - next) + term
        } else {
            (term - next) + self.sum
        };
        self.sum = next;
    }

    fn total(self) -> f64 {
        self.sum + self.lost
    }
}

#[cfg(test)]
#[expect(clippy::float_cmp, reason = "these figures are exact in binary")]
mod tests {
    use super::*;

    #[test]
    fn a_first_order_response_has_the_closed_forms_of_its_integrals() {
        // e = D exp(-t/tau): IAE = tau D, ISE = tau D^2/2, ITAE = tau^2 D, ITSE = tau^2 D^2/4.
        let (tau, step) = (60.0, 100.0);
        let t: Vec<f64> = (0..200_000).map(|i| f64::from(i) * 0.01).collect();
        let y: Vec<f64> = t.iter().map(|t| step * (1.0 - (-t / tau).exp())).collect();
        let found = integrals(&t, &y, step);
        let near = |a: f64, b: f64| (a / b - 1.0).abs() < 1e-7;
        assert!(near(found.iae, tau * step));
        assert!(near(found.ise, tau * step * step / 2.0));
        assert!(near(found.itae, tau * tau * step));
        assert!(near(found.itse, tau * tau * step * step / 4.0));
    }

    #[test]
    fn a_zero_width_interval_adds_nothing() {
        let found = integrals(&[0.0, 1.0, 1.0, 2.0], &[0.0, 0.0, 5.0, 5.0], 10.0);
        assert_eq!(found.iae, 15.0);
    }
}
