//! The step numbers against closed forms, numpy and scipy on the same samples, and python-control.
//!
//! What each vector is and where its figures come from: `tests/reference/step/SOURCE.md`.

use std::fs;
use std::path::{Path, PathBuf};

use emberline::analysis::{
    Episode, EpisodeKind, GivenStep, Options, StepNumbers, Trace, find_episodes,
};
use serde_json::Value;

/// Every vector of the folder.
const VECTORS: [&str; 15] = [
    "01_first_order",
    "02_second_order_z0.2",
    "03_second_order_z0.5",
    "04_second_order_z0.7",
    "05_second_order_z1",
    "06_fopdt",
    "07_inverse_response",
    "08_cooling_down",
    "09_nonzero_start_baseline",
    "10_irregular",
    "11a_gap_after_peak",
    "11b_gap_over_peak",
    "12_noisy_sigma0.5",
    "13_never_settles",
    "14_never_reaches",
    // The start is 10 degrees off the old setpoint: percentages are of 60, not of 50.
];
const OFF_SETPOINT: &str = "15_start_off_setpoint";

struct Vector {
    truth: Value,
    columns: [Vec<f64>; 4],
}

fn folder() -> PathBuf {
    Path::new(env!("CARGO_MANIFEST_DIR")).join("tests/reference/step")
}

fn vector(name: &str) -> Vector {
    let json = fs::read_to_string(folder().join(format!("{name}.json"))).unwrap();
    let csv = fs::read_to_string(folder().join(format!("{name}.csv"))).unwrap();
    let mut columns: [Vec<f64>; 4] = Default::default();
    for line in csv.lines().skip(1) {
        for (column, cell) in columns.iter_mut().zip(line.split(',')) {
            column.push(cell.parse().unwrap());
        }
    }
    Vector {
        truth: serde_json::from_str(&json).unwrap(),
        columns,
    }
}

impl Vector {
    fn step(&self) -> Episode {
        self.step_within(None)
    }

    /// The step, settled when it stays within so many degrees.
    fn step_within(&self, band: Option<f64>) -> Episode {
        let [time_s, pv, setpoint, output] = &self.columns;
        let trace = Trace {
            time_s,
            pv,
            setpoint: Some(setpoint),
            output: Some(output),
            autotune: None,
        };
        // Records that begin with the step do not show it.
        let begins_with_it = self.truth["t_step"] == 0.0;
        let given = begins_with_it.then_some(GivenStep {
            at_s: Some(0.0),
            target: None,
        });
        let options = Options {
            band,
            given,
            ..Options::default()
        };
        let found = find_episodes(&trace, &options).unwrap();
        let mut steps = found
            .into_iter()
            .filter(|episode| episode.kind == EpisodeKind::SetpointStep);
        let step = steps.next().unwrap();
        assert_eq!(steps.next(), None, "one step is in the record");
        step
    }

    fn numbers(&self) -> StepNumbers {
        self.step().numbers
    }
}

fn all() -> impl Iterator<Item = (&'static str, Vector)> {
    VECTORS
        .into_iter()
        .chain([OFF_SETPOINT])
        .map(|name| (name, vector(name)))
}

fn assert_near(name: &str, what: &str, own: Option<f64>, known: &Value, within: f64) {
    let known = known.as_f64();
    let off = own.zip(known).map(|(own, known)| (own - known).abs());
    let agree = off.map_or(own.is_none() && known.is_none(), |off| off <= within);
    assert!(agree, "{name}: {what} is {own:?}, known {known:?}");
}

#[test]
fn numbers_are_those_of_the_plain_definitions_on_the_samples() {
    for (name, vector) in all() {
        let (own, known) = (vector.numbers(), &vector.truth["sampled"]);
        assert_near(name, "initial", own.initial, &known["pv0"], 1e-9);
        assert_near(
            name,
            "overshoot",
            own.overshoot,
            &known["overshoot_abs"],
            1e-9,
        );
        assert_near(
            name,
            "overshoot %",
            own.overshoot_pct,
            &known["overshoot_pct"],
            1e-9,
        );
        assert_near(name, "peak", own.peak_s, &known["peak_time"], 1e-9);
        assert_near(name, "rise", own.rise_s, &known["rise_10_90"], 1e-9);
        // Vector 13 swings for ever; it "settles" only without a dwell.
        let settling = match name {
            "13_never_settles" => &vector.truth["expected_with_dwell_rule"]["settle_2"],
            _ => &known["settle_2"],
        };
        assert_near(name, "settling", own.settling_s, settling, 1e-9);
        assert_near(name, "settling 2 %", own.settling_2pct_s, settling, 1e-9);
    }
}

/// The band is 5 % of the step.
#[test]
fn settling_within_a_band_in_degrees_is_the_last_crossing_of_its_edge() {
    for (name, vector) in all() {
        let known = &vector.truth["sampled"];
        let band = 0.05 * known["delta"].as_f64().unwrap().abs();
        let step = vector.step_within(Some(band));
        let settling = match name {
            "13_never_settles" => &vector.truth["expected_with_dwell_rule"]["settle_5"],
            _ => &known["settle_5"],
        };
        assert_near(name, "band", step.numbers.settling_band, &band.into(), 1e-9);
        assert_near(name, "settling", step.numbers.settling_s, settling, 1e-9);
    }
}

#[test]
fn integrals_are_those_of_scipy_to_the_last_digits() {
    for (name, vector) in all() {
        let (own, known) = (vector.numbers(), &vector.truth["sampled"]);
        let integrals = [
            ("iae", own.iae),
            ("ise", own.ise),
            ("itae", own.itae),
            ("itse", own.itse),
        ];
        for (what, value) in integrals {
            let size = known[what].as_f64().unwrap();
            assert_near(name, what, value, &known[what], 1e-12 * size);
        }
    }
}

#[test]
fn numbers_are_those_of_the_true_response_within_the_sampling() {
    for (name, vector) in all() {
        // A gap, noise and an oscillation that never ends have no such truth to meet.
        if name.starts_with("11") || name.starts_with("12") || name.starts_with("13") {
            continue;
        }
        let (own, exact) = (vector.numbers(), &vector.truth["exact"]);
        // Second order: at most w^2 dt^2 / 8 of the step between two samples, dt up to 1.8 s.
        assert_near(
            name,
            "overshoot",
            own.overshoot_pct,
            &exact["overshoot_pct"],
            0.01,
        );
        assert_near(name, "peak", own.peak_s, &exact["peak_time"], 0.9);
        assert_near(name, "rise", own.rise_s, &exact["rise_10_90"], 0.05);
        assert_near(name, "settling", own.settling_s, &exact["settle_2"], 0.05);
        let size = exact["iae_T"].as_f64().unwrap();
        assert_near(name, "iae", own.iae, &exact["iae_T"], 5e-4 * size);
    }
}

#[test]
fn python_control_agrees_where_it_means_the_same() {
    // `step_info` snaps to samples, and only a step from 0 to 1 has the meaning it assumes.
    for (name, vector) in all() {
        let known = &vector.truth["control_step_info_on_csv_normalised"];
        if !known.is_object() || name == "13_never_settles" {
            continue;
        }
        let own = vector.numbers();
        let time_s = &vector.columns[0];
        let widest = time_s.windows(2).map(|pair| pair[1] - pair[0]);
        let sample = widest.fold(0.0, f64::max);
        assert_near(
            name,
            "overshoot",
            own.overshoot_pct,
            &known["Overshoot"],
            1e-9,
        );
        assert_near(name, "rise", own.rise_s, &known["RiseTime"], sample);
        assert_near(
            name,
            "settling",
            own.settling_s,
            &known["SettlingTime"],
            sample,
        );
        if own.peak_s.is_some() {
            assert_near(name, "peak", own.peak_s, &known["PeakTime"], 1e-9);
        }
    }
}

#[test]
fn a_hidden_peak_is_said_to_be_a_lower_bound() {
    let about = |name: &str| -> Vec<(&str, &str)> {
        let notes = vector(name).step().notes;
        notes.iter().map(|note| (note.code, note.about)).collect()
    };
    assert!(about("11b_gap_over_peak").contains(&("gap", "overshoot")));
    assert!(!about("11a_gap_after_peak").contains(&("gap", "overshoot")));
    assert!(!about("03_second_order_z0.5").contains(&("gap", "overshoot")));
}

#[test]
fn a_step_that_never_arrives_says_so() {
    let step = vector("14_never_reaches").step();
    assert_eq!(step.numbers.rise_s, None);
    let codes: Vec<_> = step.notes.iter().map(|note| note.code).collect();
    assert!(codes.contains(&"not-reached") && codes.contains(&"not-settled"));
    let offset = step.numbers.final_error.unwrap();
    assert!((offset + 20.0).abs() < 0.01, "{offset}");
}

#[test]
fn noise_is_told_apart_from_the_response() {
    let step = vector("12_noisy_sigma0.5").step();
    let noise = step.numbers.noise_sd.unwrap();
    assert!((noise - 0.5).abs() < 0.05, "{noise}");
    assert!(vector("03_second_order_z0.5").numbers().noise_sd.unwrap() < 0.01);
}
