//! `steady`: against published values, known truths, and from its arguments to what it writes.

mod command;
mod holds;
mod nist;
mod truths;

use emberline::analysis::{Steady, SteadyOptions, Trace, steady};

/// How steady these values are, a sample every `period_s`, all of them counted.
fn of_values(values: &[f64], period_s: f64, options: &SteadyOptions) -> Steady {
    let time_s: Vec<f64> = (0..values.len()).map(|i| i as f64 * period_s).collect();
    let trace = Trace {
        time_s: &time_s,
        pv: values,
        setpoint: None,
        output: None,
        autotune: None,
    };
    steady(&trace, options).unwrap()
}

fn codes(found: &Steady) -> Vec<&str> {
    found.notes.iter().map(|note| note.code).collect()
}

/// Numbers that look random, about 0, of unit variance (Marsaglia, Xorshift RNGs, 2003; twelve uniform
/// ones added up).
fn noise(seed: u64) -> impl FnMut() -> f64 {
    let mut state = seed.wrapping_mul(0x9E37_79B9_7F4A_7C15) | 1;
    move || {
        let mut uniform = || {
            state ^= state << 13;
            state ^= state >> 7;
            state ^= state << 17;
            (state >> 11) as f64 / (1_u64 << 53) as f64
        };
        (0..12).map(|_| uniform()).sum::<f64>() - 6.0
    }
}
