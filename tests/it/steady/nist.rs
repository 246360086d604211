//! Published values: NIST's univariate sets and the test sets of NIST SP 1065
//! (`tests/reference/stats/SOURCE.md`).

use std::fs;
use std::path::Path;

use emberline::analysis::{SteadyOptions, allan_deviation};
use serde_json::Value;

use super::of_values;

const SETS: [&str; 8] = [
    "Lew", "Lottery", "Mavro", "Michelso", "NumAcc1", "NumAcc2", "NumAcc3", "NumAcc4",
];

fn text(name: &str) -> String {
    let folder = Path::new(env!("CARGO_MANIFEST_DIR")).join("tests/reference/stats");
    fs::read_to_string(folder.join(name)).unwrap()
}

fn values(name: &str) -> Vec<f64> {
    let text = text(&format!("{name}.csv"));
    text.lines()
        .skip(1)
        .map(|line| line.parse().unwrap())
        .collect()
}

#[test]
fn certified_digits_come_out_as_far_as_doubles_hold_the_data() {
    let known: Value = serde_json::from_str(&text("nist_strd_univariate.json")).unwrap();
    for name in SETS {
        let values = values(name);
        let certified = |what: &str| known["results"][name]["certified"][what].as_f64().unwrap();
        let found = of_values(&values, 1.0, &SteadyOptions::default());
        assert_eq!(found.count, known["results"][name]["n"], "{name}");
        // A decimal is rounded by half a unit of its last place when it becomes a double: relative to
        // the spread that is all that may be lost. Certified values have 15 digits.
        let largest = values.iter().map(|it| it.abs()).fold(0.0, f64::max);
        let lost = f64::EPSILON * largest / certified("sd");
        let near = |what: &str, own: Option<f64>, known: f64, within: f64| {
            let off = (own.unwrap() - known).abs() / known.abs();
            assert!(
                off <= within.max(2e-15),
                "{name}, {what}: {own:?}, certified {known}: {off:e}"
            );
        };
        near("mean", found.mean, certified("mean"), 0.0);
        near("sd", found.sd, certified("sd"), lost);
        near("lag-1", found.lag1, certified("lag1"), lost);
    }
}

#[test]
fn allan_deviations_are_the_published_ones() {
    let known: Value = serde_json::from_str(&text("sp1065.json")).unwrap();
    for name in ["nbs14_9", "nist1000"] {
        let values = values(name);
        let table = &known["sets"][name]["table"]["oadev"];
        let column = |what: &str| -> Vec<f64> {
            let column = table[what].as_array().unwrap().iter();
            column.map(|it| it.as_f64().unwrap()).collect()
        };
        let published = column("published");
        for ((tau, published), peer) in column("taus")
            .iter()
            .zip(published)
            .zip(column("allantools"))
        {
            let found = allan_deviation(&values, *tau as usize, 1.0).unwrap();
            // Seven digits are published.
            let digits = 10.0_f64.powf(published.log10().floor() - 6.0);
            assert!(
                (found.adev - published).abs() <= 0.5 * digits,
                "{name}, {tau}: {found:?}"
            );
            assert!(
                (found.adev / peer - 1.0).abs() < 1e-12,
                "{name}, {tau}: {found:?}"
            );
            assert_eq!(found.n as usize, values.len() + 1 - 2 * *tau as usize);
        }
    }
}

#[test]
fn the_octaves_of_a_record_are_those_deviations() {
    let values = values("nist1000");
    let found = of_values(&values, 10.0, &SteadyOptions::default());
    let taus: Vec<f64> = found.allan.iter().map(|it| it.tau_s).collect();
    assert_eq!(
        taus,
        [10.0, 20.0, 40.0, 80.0, 160.0, 320.0, 640.0, 1280.0, 2560.0]
    );
    for (point, octave) in found.allan.iter().zip(0..) {
        let known = allan_deviation(&values, 1 << octave, 10.0).unwrap();
        assert!((point.adev / known.adev - 1.0).abs() < 1e-12);
        assert_eq!(point.n, known.n);
    }
}
