//! What is noticed of values: settled, left the band, dangers. Closed forms.

use std::time::Duration;

use chrono::DateTime;

use super::band::BandWatch;
use super::danger::{DangerNews, DangerWatch, Peril};
use crate::clock::Stamp;
use crate::number::Number;
use crate::roles::{Autotune, Roles};
use crate::sample::{Fault, Happening, Reading, Sample, State, Why};

const EVERY: Duration = Duration::from_secs(1);

fn roles() -> Roles {
    Roles {
        pv: 0,
        setpoint: Some(1),
        output: Some(2),
        autotune: Some(Autotune {
            index: 3,
            active: Vec::new(),
        }),
        ..Roles::default()
    }
}

fn sample_of(second: u32, state: State, pv: Reading, rest: [f64; 3]) -> Sample {
    let elapsed = EVERY * second;
    let [setpoint, output, tuning] = rest.map(|value| Reading::Good(Number::Double(value)));
    Sample {
        of: "top".parse().unwrap(),
        stamp: Stamp {
            elapsed,
            time: DateTime::UNIX_EPOCH + elapsed,
        },
        state,
        readings: [pv, setpoint, output, tuning].into(),
        units: [Some("degC".into()), Some("degC".into()), None, None].into(),
    }
}

fn good(second: u32, [pv, setpoint, output]: [f64; 3]) -> Sample {
    let pv = Reading::Good(Number::Double(pv));
    sample_of(second, State::Good, pv, [setpoint, output, 0.0])
}

fn lost(second: u32) -> Sample {
    let why = Why::NoAnswer;
    let mut sample = good(second, [0.0; 3]);
    sample.state = State::Absent(why);
    sample.readings = vec![Reading::Absent(why); 4].into();
    sample
}

/// What is told of a loop with these values, and in which second.
fn band_told(samples: impl Iterator<Item = Sample>) -> Vec<(u64, Happening)> {
    let mut watch = BandWatch::new(roles(), Some(2.0), EVERY);
    let told = samples.filter_map(|sample| {
        let (what, _) = watch.on(&sample)?;
        Some((sample.stamp.elapsed.as_secs(), what))
    });
    told.collect()
}

#[test]
fn a_first_order_step_settles_once_and_is_told_after_the_dwell() {
    // 510 - 20 exp(-t/60) is within 2 degrees after 60 ln 10 = 138.2 s; the tenth sample from 139 s
    // on is that of 148 s. There it rises by 2/60 degree a second, which would lead out of the band in
    // another 138 s. As long after as it took it has a tenth of that slope; half as long it must stay.
    let pv = |t: f64| 510.0 - 20.0 * (-t / 60.0).exp();
    let step = (0..400).map(|second| match second {
        0..100 => good(second, [490.0, 490.0, 50.0]),
        _ => good(second, [pv(f64::from(second - 100)), 510.0, 50.0]),
    });
    let told = band_told(step);
    assert!(
        matches!(told[..], [(308..377, Happening::Settled)]),
        "{told:?}"
    );
}

#[test]
fn a_swing_that_passes_through_the_band_has_not_settled() {
    // Ten degrees at a period of 400 s: 25.6 s in band at each passage. With a time constant of
    // 600 s it is within 2 degrees for good after 600 ln 5 = 966 s.
    let ring = |t: f64| {
        let phase = std::f64::consts::TAU * t / 400.0;
        10.0 * (-t / 600.0).exp() * phase.cos()
    };
    let samples = (0..3000).map(|second| match second {
        0..100 => good(second, [490.0, 490.0, 50.0]),
        _ => good(second, [510.0 + ring(f64::from(second - 100)), 510.0, 50.0]),
    });
    let told = band_told(samples);
    let [(at, Happening::Settled)] = told[..] else {
        panic!("{told:?}");
    };
    // The peak of 800 s is the last outside; it is back at about 845 s, and stays a period of 400 s.
    assert!((1300..1380).contains(&at), "{at}");
}

#[test]
fn what_holds_from_the_start_needs_no_word_until_it_leaves() {
    let pv = |second: u32| match second {
        // Two samples are a glitch.
        100..102 => 520.0,
        200..260 => 513.0,
        _ => 510.0,
    };
    let samples = (0..600).map(|second| good(second, [pv(second), 510.0, 50.0]));
    let told = band_told(samples);
    assert_eq!(
        told,
        [(202, Happening::LeftBand), (289, Happening::Settled)]
    );
}

#[test]
fn a_setpoint_that_moves_an_autotune_and_lost_polls_are_no_leaving() {
    let samples = (0..4000).map(|second| {
        let swing = 6.0 * (f64::from(second) / 40.0).sin();
        match second {
            100..1000 => {
                let pv = Reading::Good(Number::Double(510.0 + swing));
                sample_of(second, State::Good, pv, [510.0, 100.0, 1.0])
            }
            1200..1300 => lost(second),
            // Down to another setpoint, and there.
            1400..1900 => good(
                second,
                [510.0 - f64::from(second - 1400) / 10.0, 460.0, 0.0],
            ),
            1900.. => good(second, [460.0, 460.0, 40.0]),
            _ => good(second, [510.0, 510.0, 50.0]),
        }
    });
    let told = band_told(samples);
    let settled: Vec<Happening> = told.iter().map(|(_, what)| *what).collect();
    assert_eq!(settled, [Happening::Settled; 2], "{told:?}");
}

#[test]
fn a_loop_without_a_band_is_not_judged() {
    let mut watch = BandWatch::new(roles(), None, EVERY);
    let told = (0..600).filter_map(|second| watch.on(&good(second, [400.0, 510.0, 0.0])));
    assert_eq!(told.count(), 0);
}

/// Which dangers are told, and in which second.
fn dangers_told(samples: impl Iterator<Item = Sample>) -> Vec<(u64, Happening)> {
    let mut news = DangerNews::new(roles(), EVERY);
    let told = samples.flat_map(|sample| {
        let at = sample.stamp.elapsed.as_secs();
        news.on(&sample)
            .into_iter()
            .map(move |(what, _)| (at, what))
    });
    told.collect()
}

#[test]
fn full_output_without_a_rise_is_told_after_ten_minutes_and_once() {
    // Never ten minutes without a rise by a degree, and then so.
    let pv = |second: u32| 20.0 + f64::from(second.min(1000)) / 100.0;
    let samples = (0..4000).map(|second| good(second, [pv(second), 510.0, 100.0]));
    let told = dangers_told(samples);
    let [(at, Happening::NoResponse)] = told[..] else {
        panic!("{told:?}");
    };
    // The last ten minutes bring less than a degree from 1500 s on; the means of half a minute at
    // their ends say so a quarter of a minute earlier at most.
    assert!((1485..1531).contains(&at), "{at}");
}

#[test]
fn full_output_near_the_setpoint_or_less_than_full_is_none() {
    let near = (0..2000).map(|second| good(second, [509.5, 510.0, 100.0]));
    assert_eq!(dangers_told(near), []);
    let half = (0..2000).map(|second| good(second, [400.0, 510.0, 94.0]));
    assert_eq!(dangers_told(half), []);
}

#[test]
fn a_rise_without_output_is_told_when_what_was_on_its_way_has_arrived() {
    let rises = |second: u32| 500.0 + f64::from(second) / 100.0;
    let samples = (0..1000).map(|second| good(second, [rises(second), 490.0, 0.0]));
    assert_eq!(
        dangers_told(samples),
        [(600, Happening::HeatingWithoutOutput)]
    );
    // It was heated until 300 s.
    let output = |second: u32| if second < 300 { 20.0 } else { 0.0 };
    let samples = (0..1000).map(|second| good(second, [rises(second), 490.0, output(second)]));
    let told = dangers_told(samples);
    assert!(
        matches!(told[..], [(900..=920, Happening::HeatingWithoutOutput)]),
        "{told:?}"
    );
}

#[test]
fn noise_is_no_rise() {
    // Sixteen hours of a cold oven whose sensor jumps by up to 1.5 degrees (a linear congruential
    // generator).
    let mut random = 1_u64;
    let mut noise = move || {
        random = random
            .wrapping_mul(6_364_136_223_846_793_005)
            .wrapping_add(1);
        3.0 * ((random >> 33) as f64 / f64::from(1 << 31) - 0.5)
    };
    let samples = (0..57_600).map(|second| good(second, [20.0 + noise(), 20.0, 0.0]));
    assert_eq!(dangers_told(samples), []);
}

#[test]
fn a_lost_answer_hides_nothing_and_a_long_gap_is_no_evidence() {
    let with_losses = (0..700).map(|second| match second % 10 {
        3 | 4 => lost(second),
        _ => good(second, [20.0, 510.0, 100.0]),
    });
    let told = dangers_told(with_losses);
    assert!(
        matches!(told[..], [(600..=610, Happening::NoResponse)]),
        "{told:?}"
    );
    let with_a_gap = (0..900).map(|second| match second {
        400..430 => lost(second),
        _ => good(second, [20.0, 510.0, 100.0]),
    });
    assert_eq!(dangers_told(with_a_gap), []);
}

#[test]
fn heating_with_a_failed_sensor_is_told_after_five_seconds() {
    let broken = |second: u32, output: f64| {
        let fault = Fault {
            meaning: "sensor open".into(),
            raw: vec![0x7FFF],
        };
        let pv = Reading::Fault(fault);
        sample_of(second, State::Faulty, pv, [510.0, output, 0.0])
    };
    let samples = (0..60).map(|second| match second {
        0..10 => good(second, [510.0, 510.0, 40.0]),
        _ => broken(second, 40.0),
    });
    assert_eq!(
        dangers_told(samples),
        [(15, Happening::HeatingWithoutSensor)]
    );
    assert_eq!(dangers_told((0..60).map(|second| broken(second, 0.0))), []);
}

#[test]
fn another_unit_is_no_rise() {
    let mut watch = DangerWatch::new(roles(), EVERY);
    for second in 0..2000 {
        let mut sample = good(second, [if second < 700 { 20.0 } else { 68.0 }, 20.0, 0.0]);
        if second >= 700 {
            sample.units = [Some("degF".into()), Some("degF".into()), None, None].into();
        }
        watch.on(&sample);
        assert!(!watch.holds(Peril::RisesUnheated), "{second}");
    }
}
