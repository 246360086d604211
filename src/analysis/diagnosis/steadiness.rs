//! What the figures of a steady stretch look like.

use super::Diagnosis;
use super::cycles::{DRIVES, SAME_PERIOD, Source};
use crate::analysis::steady::{Cycle, Drift, Steady};
use crate::figures::{amount, duration, fixed};

/// A sine that explains so much of the variance stands out from everything else that goes on.
const DOMINANT: f64 = 0.5;
/// The same for the output's own switching, whose period is known.
const VISIBLE: f64 = 0.1;
/// The same for the time of day, which shares a record with shorter swings.
const DAILY: f64 = 0.25;
/// A cycle with this period is the day's.
const DAY_S: f64 = 86_400.0;

/// What a steady stretch looks like, besides the dangers that single samples show; `cycle_time_s` is
/// that of a time-proportioned output.
pub(crate) fn of_steady(steady: &Steady, cycle_time_s: Option<f64>) -> Vec<Diagnosis> {
    let found = [cycle(steady, cycle_time_s), day_night(steady)];
    found.into_iter().flatten().collect()
}

/// The part of a variance that a sine of this amplitude explains.
fn explained(amplitude: f64, sd: Option<f64>) -> f64 {
    sd.map_or(0.0, |sd| 0.5 * amplitude * amplitude / (sd * sd))
}

fn cycle(steady: &Steady, cycle_time_s: Option<f64>) -> Option<Diagnosis> {
    let Cycle {
        period_s,
        amplitude,
    } = steady.cycle?;
    if (period_s / DAY_S - 1.0).abs() <= SAME_PERIOD {
        return None;
    }
    let part = explained(amplitude, steady.sd);
    let is_own = cycle_time_s.is_some_and(|own_s| (period_s / own_s - 1.0).abs() <= SAME_PERIOD);
    // Peak to peak of a sine with this standard deviation.
    let moves = steady.output.and_then(|it| it.sd);
    let moves = moves.map(|sd| 2.0 * std::f64::consts::SQRT_2 * sd);
    let source = match moves {
        _ if is_own => Source::CycleTime,
        Some(moves) if moves < DRIVES => Source::Outside,
        _ => Source::Loop,
    };
    let stands_out = part >= if is_own { VISIBLE } else { DOMINANT };
    stands_out.then(|| {
        let output = moves.map_or_else(String::new, |moves| {
            format!("; the output moves by about {} %", fixed(moves, 1))
        });
        let evidence = format!(
            "swings by {} to either side every {}, which is {} % of the variance{output}",
            amount(amplitude),
            duration(period_s),
            fixed(100.0 * part.min(1.0), 0)
        );
        source.diagnosis(evidence, None)
    })
}

const DAY_NIGHT: &str = "the loop follows the time of day: the room's temperature, the supply voltage or the shifts reach it. The output shows how much the controller has to make up for";

fn day_night(steady: &Steady) -> Option<Diagnosis> {
    let daily = |drift: Option<Drift>, sd: Option<f64>| {
        let amplitude = drift?.daily_amplitude?;
        (explained(amplitude, sd) >= DAILY).then_some(amplitude)
    };
    let pv = daily(steady.drift, steady.sd)
        .map(|amplitude| format!("the process value by {}", amount(amplitude)));
    let output = steady.output.and_then(|it| daily(it.drift, it.sd));
    let output = output.map(|amplitude| format!("the output by {} %", amount(amplitude)));
    let which: Vec<String> = pv.into_iter().chain(output).collect();
    (!which.is_empty()).then(|| Diagnosis {
        code: "day-night",
        is_danger: false,
        text: DAY_NIGHT.to_owned(),
        evidence: format!(
            "a sine of 24 h moves {} to either side, a quarter of the variance or more",
            which.join(" and ")
        ),
        start_s: None,
        tuned_since: None,
    })
}

#[cfg(test)]
mod tests {
    use super::DAY_S;
    use crate::analysis::{Steadiness, SteadyOptions, SteadySample};

    /// Three days at a sample a minute.
    fn codes(sample: impl Fn(f64) -> [f64; 2], cycle_time_s: Option<f64>) -> Vec<&'static str> {
        let mut steadiness = Steadiness::new(SteadyOptions {
            cycle_time_s,
            ..SteadyOptions::default()
        });
        for minute in 0..3 * 1440 {
            let time_s = 60.0 * f64::from(minute);
            let [pv, output] = sample(time_s);
            steadiness.push(&SteadySample {
                time_s,
                pv,
                setpoint: 510.0,
                output,
                autotune: false,
            });
        }
        let found = steadiness.finish();
        found.diagnoses.iter().map(|it| it.code).collect()
    }

    fn wave(t: f64, period_s: f64) -> f64 {
        (t / period_s * std::f64::consts::TAU).sin()
    }

    /// White noise from -0.5 to 0.5: the mixing steps of SplitMix64 (Steele, Lea and Flood, Fast
    /// splittable pseudorandom number generators, 2014).
    fn noise(t: f64) -> f64 {
        let mut z = (t as u64).wrapping_mul(0x9E37_79B9_7F4A_7C15);
        z = (z ^ (z >> 30)).wrapping_mul(0xBF58_476D_1CE4_E5B9);
        z = (z ^ (z >> 27)).wrapping_mul(0x94D0_49BB_1331_11EB);
        (z >> 11) as f64 / (1_u64 << 53) as f64 - 0.5
    }

    #[test]
    fn a_loop_that_is_quiet_looks_like_nothing() {
        assert_eq!(
            codes(|t| [510.0 + 0.1 * noise(t), 40.0 + noise(t)], None),
            [""; 0]
        );
    }

    #[test]
    fn a_lasting_swing_belongs_to_the_loop_its_output_or_to_neither() {
        let swings = |move_by: f64| {
            move |t: f64| {
                [
                    510.0 + 2.0 * wave(t, 1200.0) + 0.1 * noise(t),
                    40.0 + move_by * wave(t, 1200.0),
                ]
            }
        };
        assert_eq!(codes(swings(10.0), None), ["limit-cycle"]);
        assert_eq!(codes(swings(0.1), None), ["cycle-from-outside"]);
        assert_eq!(codes(swings(10.0), Some(1200.0)), ["cycle-time-visible"]);
    }

    #[test]
    fn what_follows_the_day_is_told_for_process_value_and_output() {
        let night = |t: f64| {
            [
                510.0 + 0.1 * noise(t),
                40.0 + 5.0 * wave(t, DAY_S) + noise(t),
            ]
        };
        assert_eq!(codes(night, None), ["day-night"]);
    }
}
