//! The numbers of an autotune against exact limit cycles: `tests/reference/relay/SOURCE.md`.

use std::fs;
use std::path::Path;

use emberline::analysis::{Episode, EpisodeKind, Options, Trace, find_episodes};
use serde_json::Value;

const TAU_S: f64 = 100.0;
const GAIN: f64 = 2.0;
const CYCLES: usize = 5;
/// Samples of a cycle.
const SAMPLES: f64 = 400.0;

/// One limit cycle, about 510 degrees and 50 %.
struct Relay {
    dead_s: f64,
    levels: [f64; 2],
    high_s: f64,
    low_s: f64,
    /// Lowest and highest process value.
    extremes: [f64; 2],
}

impl Relay {
    fn period_s(&self) -> f64 {
        self.high_s + self.low_s
    }

    fn output(&self, t: f64) -> f64 {
        let phase = t.rem_euclid(self.period_s());
        50.0 + self.levels[usize::from(phase < self.high_s)]
    }

    fn pv(&self, t: f64) -> f64 {
        let phase = (t - self.dead_s).rem_euclid(self.period_s());
        let to_level = |level: f64, from: f64, t: f64| {
            GAIN * level + (from - GAIN * level) * (-t / TAU_S).exp()
        };
        510.0
            + if phase < self.high_s {
                to_level(self.levels[1], self.extremes[0], phase)
            } else {
                to_level(self.levels[0], self.extremes[1], phase - self.high_s)
            }
    }

    /// Output over process value at the cycle's period: of this process the closed form is
    /// |1 + j w tau| / K.
    fn gain(&self) -> f64 {
        let w = std::f64::consts::TAU / self.period_s();
        (w * TAU_S).hypot(1.0) / GAIN
    }

    /// By how much the process value lags, in degrees of angle.
    fn lag_deg(&self) -> f64 {
        let w = std::f64::consts::TAU / self.period_s();
        ((w * TAU_S).atan() + w * self.dead_s).to_degrees()
    }

    /// The cycle as an autotune of a record; its own column tells of it, or the output alone.
    fn tune(&self, has_column: bool) -> Episode {
        let every_s = self.period_s() / SAMPLES;
        let rest = 100;
        let count = rest + (CYCLES as f64 * SAMPLES) as usize;
        let time_s: Vec<f64> = (0..count + rest).map(|i| i as f64 * every_s).collect();
        let tuning: Vec<bool> = (0..time_s.len())
            .map(|i| (rest..count).contains(&i))
            .collect();
        let since = |t: f64| t - rest as f64 * every_s;
        let column = |inside: &dyn Fn(f64) -> f64, outside: f64| -> Vec<f64> {
            let value =
                |(t, tuning): (&f64, &bool)| if *tuning { inside(since(*t)) } else { outside };
            time_s.iter().zip(&tuning).map(value).collect()
        };
        // Half a sample on, so that no sample lies on a switch.
        let output = column(&|t| self.output(t + 0.5 * every_s), 50.0);
        let mut pv = column(&|t| self.pv(t + 0.5 * every_s), 510.0);
        let last = pv[count - 1];
        pv[count..].fill(last);
        let setpoint = vec![510.0; time_s.len()];
        let trace = Trace {
            time_s: &time_s,
            pv: &pv,
            setpoint: Some(&setpoint),
            output: Some(&output),
            autotune: has_column.then_some(&tuning),
        };
        let found = find_episodes(&trace, &Options::default()).unwrap();
        let mut tunes = found
            .into_iter()
            .filter(|one| one.kind == EpisodeKind::Autotune);
        let only = tunes.next().unwrap();
        assert_eq!(tunes.next(), None);
        only
    }
}

fn file() -> Value {
    let path = Path::new(env!("CARGO_MANIFEST_DIR")).join("tests/reference/relay/relay.json");
    serde_json::from_str(&fs::read_to_string(path).unwrap()).unwrap()
}

fn number(of: &Value, name: &str) -> f64 {
    of[name].as_f64().unwrap()
}

fn symmetric(of: &Value) -> Relay {
    let half_s = 0.5 * number(of, "period_exact");
    let amplitude = number(of, "amp_exact");
    Relay {
        dead_s: number(of, "theta"),
        levels: [-10.0, 10.0],
        high_s: half_s,
        low_s: half_s,
        extremes: [-amplitude, amplitude],
    }
}

fn biased(of: &Value) -> Relay {
    Relay {
        dead_s: number(of, "theta"),
        levels: [number(of, "u_minus"), number(of, "u_plus")],
        high_s: number(of, "T_high"),
        low_s: number(of, "T_low"),
        extremes: [number(of, "y_min"), number(of, "y_max")],
    }
}

fn near(what: &str, own: Option<f64>, known: f64, part: f64) {
    let off = own.map(|own| (own / known - 1.0).abs());
    assert!(
        off.is_some_and(|off| off < part),
        "{what}: {own:?}, known {known}"
    );
}

#[test]
fn a_symmetric_relay_gives_the_gain_of_its_first_harmonic() {
    for of in file()["symmetric"].as_array().unwrap() {
        let relay = symmetric(of);
        let tune = relay.tune(true);
        near("period", tune.numbers.period_s, relay.period_s(), 1e-9);
        // The peak lies between two samples: at most one sample's way from it.
        near(
            "amplitude",
            tune.numbers.amplitude,
            number(of, "amp_exact"),
            0.02,
        );
        let own = tune.own.tune;
        near(
            "gain",
            own.ultimate_gain,
            number(of, "Ku_fundamental"),
            0.002,
        );
        near(
            "ultimate period",
            own.ultimate_period_s,
            relay.period_s(),
            1e-9,
        );
        // Dead time over time constant from 0.01 to 10: never more than 3.2 % from the true value,
        // where the describing function is up to 22 % from it.
        near("true gain", own.ultimate_gain, number(of, "Ku_true"), 0.034);
        assert_eq!(own.cycles, Some(CYCLES - 1 - 1));
    }
}

#[test]
fn hysteresis_and_unequal_halves_do_not_bend_the_gain() {
    for of in file()["hysteresis_biased"].as_array().unwrap() {
        let relay = biased(of);
        let tune = relay.tune(true);
        let own = tune.own.tune;
        // A switch lies up to a sample, a quarter of a percent, before the one that shows it.
        near("gain", own.ultimate_gain, relay.gain(), 0.005);
        let height = 0.5 * (relay.extremes[1] - relay.extremes[0]);
        near("amplitude", tune.numbers.amplitude, height, 0.02);
        // With hysteresis the cycle is slower than the ultimate one, which is said.
        let off_deg = (relay.lag_deg() - 180.0).abs();
        let says_so = tune.notes.iter().any(|note| note.code == "off-ultimate");
        // The stairs of the output hide half a sample of the lag: 0.45 degrees.
        let is_clear = (off_deg - 20.0).abs() > 0.5;
        assert!(!is_clear || says_so == (off_deg > 20.0), "{off_deg}");
    }
}

#[test]
fn the_output_alone_tells_of_the_same_tune() {
    let file = file();
    let relay = biased(&file["hysteresis_biased"][6]);
    let (told, inferred) = (relay.tune(true), relay.tune(false));
    assert_eq!(inferred.numbers, told.numbers);
    assert_eq!(inferred.own, told.own);
    assert_eq!(
        (inferred.start_s, inferred.end_s),
        (told.start_s, told.end_s)
    );
    assert!(inferred.notes.iter().any(|note| note.code == "inferred"));
}
