//! The first harmonic of process value and output over whole cycles.

use std::f64::consts::TAU;

use crate::trace::Trace;

/// Process value over output at one frequency.
#[derive(Clone, Copy, Debug, PartialEq)]
pub(crate) struct Response {
    /// Degrees a percent.
    pub(crate) gain: f64,
    /// Degrees of angle, from -360 up to 0.
    pub(crate) phase_deg: f64,
}

/// A complex number: what turns and what stays.
#[derive(Clone, Copy, Debug, Default)]
struct Phasor {
    re: f64,
    im: f64,
}

impl Phasor {
    /// e^{-j angle}
    fn turned_back(angle: f64) -> Self {
        Self {
            re: angle.cos(),
            im: -angle.sin(),
        }
    }

    fn add(&mut self, other: Self, times: f64) {
        self.re += times * other.re;
        self.im += times * other.im;
    }

    fn size(self) -> f64 {
        self.re.hypot(self.im)
    }

    fn angle(self) -> f64 {
        self.im.atan2(self.re)
    }
}

/// The response at the period `period_s`, from samples `first` to `last` of a trace, which are whole
/// periods. The process value runs straight between samples; the output stays as it was until the
/// next one. `None` without an output that swings.
///
/// ```text
/// G = integral y e^{-jwt} dt / integral u e^{-jwt} dt,  w = 2 pi / period
/// ```
pub(crate) fn response(
    trace: &Trace<'_>,
    first: usize,
    last: usize,
    period_s: f64,
) -> Option<Response> {
    let output = trace.output?.get(first..=last)?;
    let (t, y) = (&trace.time_s[first..=last], &trace.pv[first..=last]);
    let w = TAU / period_s;
    let (of_y, of_u) = (of_line(t, y, w), of_stairs(t, output, w)?);
    let steps = output.iter().filter(|u| u.is_finite());
    let (low, high) = steps.fold((f64::INFINITY, f64::NEG_INFINITY), |(low, high), u| {
        (low.min(*u), high.max(*u))
    });
    // Of a constant only rounding is left.
    let least = 1e-6 * (high - low) * (t[t.len() - 1] - t[0]);
    let swings = high - low > 1e-6 && of_u.size() > least && of_y.size() > 0.0;
    swings.then(|| Response {
        gain: of_y.size() / of_u.size(),
        phase_deg: -(of_u.angle() - of_y.angle()).rem_euclid(TAU).to_degrees(),
    })
}

/// Integral of (y - its mean) e^{-jwt} by the trapezoidal rule; time counts from the first sample.
fn of_line(t: &[f64], y: &[f64], w: f64) -> Phasor {
    let spans = || t.windows(2).zip(y.windows(2));
    let area: f64 = spans()
        .map(|(t, y)| f64::midpoint(y[0], y[1]) * (t[1] - t[0]))
        .sum();
    let length_s = t[t.len() - 1] - t[0];
    let mean = if length_s > 0.0 {
        area / length_s
    } else {
        y[0]
    };
    let mut sum = Phasor::default();
    for (times, values) in spans() {
        let half = 0.5 * (times[1] - times[0]);
        for (time, value) in times.iter().zip(values) {
            let turned = Phasor::turned_back(w * (time - t[0]));
            sum.add(turned, half * (value - mean));
        }
    }
    sum
}

/// Integral of u e^{-jwt} in closed form, u held from each sample to the next; a missing output is
/// the one before it.
fn of_stairs(t: &[f64], output: &[f64], w: f64) -> Option<Phasor> {
    let mut held = *output.iter().find(|u| u.is_finite())?;
    let mut sum = Phasor::default();
    for (times, u) in t.windows(2).zip(output) {
        if u.is_finite() {
            held = *u;
        }
        // The integral of e^{-jwt} is j e^{-jwt} / w.
        let [from, to] = [times[0], times[1]].map(|time| Phasor::turned_back(w * (time - t[0])));
        let turned = Phasor {
            re: (from.im - to.im) / w,
            im: (to.re - from.re) / w,
        };
        sum.add(turned, held);
    }
    Some(sum)
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn a_lag_has_its_closed_form() {
        // u = sin wt, y = g sin(wt - p): over whole periods exactly g and -p, but for the stairs,
        // which take u half a sample later: that much of the angle is theirs.
        let (w, gain, lag) = (TAU / 200.0, 0.4, 2.5);
        let time_s: Vec<f64> = (0..=4000).map(|i| f64::from(i) * 0.1).collect();
        let output: Vec<f64> = time_s.iter().map(|t| 50.0 + 30.0 * (w * t).sin()).collect();
        let pv: Vec<f64> = time_s
            .iter()
            .map(|t| 510.0 + 30.0 * gain * (w * t - lag).sin())
            .collect();
        let trace = Trace {
            time_s: &time_s,
            pv: &pv,
            setpoint: None,
            output: Some(&output),
            autotune: None,
        };
        let found = response(&trace, 0, 4000, 200.0).unwrap();
        assert!((found.gain / gain - 1.0).abs() < 1e-6, "{found:?}");
        let stairs = 0.05 * w;
        assert!(
            (found.phase_deg.to_radians() + lag - stairs).abs() < 1e-6,
            "{found:?}"
        );
    }

    #[test]
    fn an_output_that_does_not_swing_has_no_response() {
        let time_s: Vec<f64> = (0..=100).map(f64::from).collect();
        let pv: Vec<f64> = time_s.iter().map(|t| (TAU * t / 50.0).sin()).collect();
        let of = |output: &[f64]| {
            let trace = Trace {
                time_s: &time_s,
                pv: &pv,
                setpoint: None,
                output: Some(output),
                autotune: None,
            };
            response(&trace, 0, 100, 50.0)
        };
        assert_eq!(of(&[54.0; 101]), None);
        assert_eq!(of(&[f64::NAN; 101]), None);
    }
}
