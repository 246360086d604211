//! Records of which the truth is known in closed form, or because they were made with it.

use std::f64::consts::{PI, TAU};

use emberline::analysis::SteadyOptions;

use super::{codes, noise, of_values};

fn around(value: f64, band: f64) -> SteadyOptions {
    SteadyOptions {
        around: Some(value),
        band: Some(band),
        ..SteadyOptions::default()
    }
}

#[test]
fn a_drift_has_its_allan_deviation_at_every_averaging_time() {
    // y = D t: D tau / sqrt 2 (NIST SP 1065, table 3, random run of the mean left out).
    let values: Vec<f64> = (0..100_000).map(|i| 20.0 + 1e-4 * f64::from(i)).collect();
    let found = of_values(&values, 1.0, &SteadyOptions::default());
    assert_eq!(found.allan.len(), 16, "averaging times up to 32,768 s");
    for point in &found.allan {
        let known = 1e-4 * point.tau_s / 2.0_f64.sqrt();
        assert!((point.adev / known - 1.0).abs() < 1e-7, "{point:?}");
    }
}

#[test]
fn a_sine_has_its_allan_deviation() {
    // A sin^2(pi tau / P) / (pi tau / P), over whole periods.
    let (amplitude, period) = (0.5, 3600.0);
    let wave = |i: u32| amplitude * (TAU * f64::from(i) / period).sin();
    let values: Vec<f64> = (0..100 * 3600).map(wave).collect();
    let found = of_values(&values, 1.0, &SteadyOptions::default());
    for point in found.allan.iter().take_while(|it| it.tau_s < 2000.0) {
        let x = PI * point.tau_s / period;
        let known = amplitude * x.sin().powi(2) / x;
        assert!((point.adev / known - 1.0).abs() < 0.01, "{point:?} {known}");
    }
}

#[test]
fn a_square_wave_is_in_band_for_the_time_its_lines_are() {
    // 9 s at 0, a line of 1 s to 10, 9 s there, 1 s back: inside +-5 for half of each line.
    let square = |i: u32| if i % 20 < 10 { 0.0 } else { 10.0 };
    let values: Vec<f64> = (0..2001).map(square).collect();
    let found = of_values(&values, 1.0, &around(0.0, 5.0));
    assert!((found.in_band_pct.unwrap() - 50.0).abs() < 1e-9);
    assert_eq!(found.excursion_count, 100);
    let first = found.excursions[0];
    assert!((first.start_s - 9.5).abs() < 1e-9 && (first.duration_s - 10.0).abs() < 1e-9);
    assert!((first.peak - 10.0).abs() < 1e-9);
}

#[test]
fn a_gap_is_missing_time_in_full_and_bridged_by_a_line() {
    // A sample a second, but none from 10 to 30, over which the line rises from 0 to 10.
    let time_s: Vec<f64> = (0..=10).chain(30..=40).map(f64::from).collect();
    let pv: Vec<f64> = time_s
        .iter()
        .map(|t| if *t < 20.0 { 0.0 } else { 10.0 })
        .collect();
    let trace = emberline::analysis::Trace {
        time_s: &time_s,
        pv: &pv,
        setpoint: None,
        output: None,
        autotune: None,
    };
    let found = emberline::analysis::steady(&trace, &around(0.0, 5.0)).unwrap();
    assert!((found.missing_s - 20.0).abs() < 1e-9 && (found.counted_s - 40.0).abs() < 1e-9);
    // Inside: 10 s, and half of the gap.
    assert!((found.in_band_pct.unwrap() - 50.0).abs() < 1e-9);
    assert!(codes(&found).contains(&"gaps"));
}

#[test]
fn drift_daily_cycle_and_noise_are_told_apart_over_a_week() {
    // A sample every 10 s: a drift, a daily cycle, a wander (300 s) and the noise of a sensor.
    let mut chance = noise(7);
    let keep = (-10.0_f64 / 300.0).exp();
    let mut wander = 0.0;
    let values: Vec<f64> = (0..60_480)
        .map(|i| {
            let day = f64::from(i) / 8640.0;
            wander = keep * wander + (1.0 - keep * keep).sqrt() * 0.08 * chance();
            let value = 200.0 + 0.03 * day + 0.25 * (TAU * day).cos() + wander + 0.02 * chance();
            (100.0 * value).round() / 100.0
        })
        .collect();
    let found = of_values(&values, 10.0, &around(200.0, 0.5));
    let drift = found.drift.unwrap();
    let [low, high] = drift.ci95.unwrap();
    assert!(low < 0.03 && 0.03 < high && high - low < 0.02, "{drift:?}");
    assert!(
        (drift.daily_amplitude.unwrap() - 0.25).abs() < 0.01,
        "{drift:?}"
    );
    let cycle = found.cycle.unwrap();
    assert!((cycle.period_s / 86_400.0 - 1.0).abs() < 0.01, "{cycle:?}");
    assert!((cycle.amplitude - 0.25).abs() < 0.02, "{cycle:?}");
}

#[test]
fn what_cannot_be_had_is_none_and_says_why() {
    let nothing = of_values(&[], 1.0, &SteadyOptions::default());
    assert_eq!(
        (nothing.count, nothing.mean, nothing.in_band_pct),
        (0, None, None)
    );
    assert_eq!(codes(&nothing), ["no-samples"]);
    let one = of_values(&[5.0], 1.0, &around(5.0, 1.0));
    assert_eq!(
        (one.mean, one.sd, one.drift, one.cycle),
        (Some(5.0), None, None, None)
    );
    assert!(codes(&one).contains(&"few-samples"));
    let same = of_values(&[5.0; 100], 1.0, &SteadyOptions::default());
    assert_eq!((same.sd, same.lag1, same.cycle), (Some(0.0), None, None));
    for code in [
        "constant",
        "none",
        "no-setpoint",
        "no-wall-time",
        "no-output",
    ] {
        assert!(codes(&same).contains(&code), "{code} in {:?}", codes(&same));
    }
    let no_band = SteadyOptions {
        around: Some(5.0),
        ..SteadyOptions::default()
    };
    assert!(codes(&of_values(&[5.0; 9], 1.0, &no_band)).contains(&"no-band"));
}

#[test]
fn samples_that_are_no_numbers_or_too_early_are_as_good_as_none() {
    let mut steadiness = emberline::analysis::Steadiness::new(around(5.0, 1.0));
    for (at, pv) in [
        (0.0, 5.0),
        (1.0, f64::NAN),
        (2.0, 5.5),
        (f64::NAN, 7.0),
        (1.5, 8.0),
        (3.0, 6.0),
    ] {
        steadiness.push(&emberline::analysis::SteadySample {
            time_s: at,
            pv,
            setpoint: f64::NAN,
            output: f64::NAN,
            autotune: false,
        });
    }
    let found = steadiness.finish();
    assert_eq!(
        (found.count, found.mean, found.max),
        (3, Some(5.5), Some(6.0))
    );
    assert!(codes(&found).contains(&"time-backwards"));
}
