//! The damping that makes each integral criterion of a second-order step smallest, found by
//! minimising what the analysis says of sampled responses.
//!
//! Closed forms and computed values: `tests/reference/integral/SOURCE.md`.

use std::fs;
use std::path::Path;

use emberline::analysis::{GivenStep, Options, StepNumbers, Trace, find_episodes};

/// The corners of |e| at its zeros, which fall between samples, blur a minimum by about this much.
const WITHIN: f64 = 2e-4;
const DT: f64 = 0.001;
const SAMPLES: u32 = 25_000;
/// The golden section.
const PART: f64 = 0.618_033_988_749_894_9;

/// A step from 0 to 100 at natural frequency 1 rad/s, sampled.
fn step(damping: f64) -> StepNumbers {
    let time_s: Vec<f64> = (0..SAMPLES).map(|i| DT * f64::from(i)).collect();
    let w = (1.0 - damping * damping).sqrt();
    let error = |t: &f64| {
        let swing = (w * t).cos() + damping / w * (w * t).sin();
        (-damping * t).exp() * swing
    };
    let pv: Vec<f64> = time_s.iter().map(|t| 100.0 * (1.0 - error(t))).collect();
    let trace = Trace {
        time_s: &time_s,
        pv: &pv,
        setpoint: None,
        output: None,
        autotune: None,
    };
    let given = Some(GivenStep {
        at_s: Some(0.0),
        target: Some(100.0),
    });
    let options = Options {
        given,
        ..Options::default()
    };
    let mut found = find_episodes(&trace, &options).unwrap();
    found.swap_remove(0).numbers
}

/// Where a number of the step is smallest between two dampings.
fn smallest(number: impl Fn(&StepNumbers) -> Option<f64>) -> (f64, f64) {
    let value = |damping: f64| number(&step(damping)).unwrap();
    let (mut low, mut high) = (0.4, 0.9);
    while high - low > 1e-5 {
        let (a, b) = (high - PART * (high - low), low + PART * (high - low));
        if value(a) < value(b) {
            high = b;
        } else {
            low = a;
        }
    }
    let damping = 0.5 * (low + high);
    (damping, value(damping))
}

fn is_known(name: &str, scale: f64, number: impl Fn(&StepNumbers) -> Option<f64>) {
    let path = Path::new(env!("CARGO_MANIFEST_DIR")).join("tests/reference/integral");
    let text = fs::read_to_string(path.join("second_order.json")).unwrap();
    let known: serde_json::Value = serde_json::from_str(&text).unwrap();
    let known = |what: &str| known[name][what].as_f64().unwrap();
    let (damping, value) = smallest(number);
    assert!(
        (damping - known("damping")).abs() < 1e-4,
        "{name} {damping}"
    );
    let off = value / (scale * known("value")) - 1.0;
    assert!(off.abs() < 1e-4, "{name} {value}");
}

#[test]
fn iae_is_smallest_where_it_is_known_to_be() {
    is_known("iae", 100.0, |numbers| numbers.iae);
}

#[test]
fn ise_is_smallest_where_it_is_known_to_be() {
    is_known("ise", 1e4, |numbers| numbers.ise);
}

#[test]
fn itae_is_smallest_where_it_is_known_to_be() {
    is_known("itae", 100.0, |numbers| numbers.itae);
}

#[test]
fn itse_is_smallest_where_it_is_known_to_be() {
    is_known("itse", 1e4, |numbers| numbers.itse);
}

/// ISE is `z + 1/(4 z)`; ITSE is smallest at `z = 2^(-3/4)`, `1/sqrt(2)`.
#[test]
fn the_known_values_are_those_of_the_closed_forms() {
    let (ise, itse) = (smallest(|it| it.ise), smallest(|it| it.itse));
    assert!((ise.0 - 0.5).abs() < WITHIN && (ise.1 / 1e4 - 1.0).abs() < 1e-4);
    assert!((itse.0 - 2_f64.powf(-0.75)).abs() < WITHIN);
    assert!((itse.1 / 1e4 - 0.5_f64.sqrt()).abs() < 1e-4);
}
