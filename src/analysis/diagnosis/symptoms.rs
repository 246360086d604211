//! What may hurt somebody, followed sample by sample through a record of any length.

use super::still::{OUTPUT_MOVED, STILL_S, Still};
use super::{Diagnosis, times};
use crate::figures::duration;
use crate::heat::{COAST_S, FULL_PCT, HeatWatch, RESPONSE_S};

/// Whether heat answers the output is asked this often: it is a matter of minutes.
const LOOK_S: f64 = 10.0;

/// Follows a record for what means danger: full output without response, a rise without output, a
/// process value that stands still while the output moves.
#[derive(Clone, Debug)]
pub struct Symptoms {
    heat: HeatWatch,
    still: Still,
    looked_s: f64,
    unanswered: Spells,
    unheated: Spells,
    frozen: Spells,
}

/// When something was so.
#[derive(Clone, Copy, Debug, Default)]
struct Spells {
    first_s: Option<f64>,
    count: usize,
    longest_s: f64,
    /// Since when it has been so.
    since_s: Option<f64>,
}

impl Symptoms {
    /// For samples that usually come every `period_s` seconds.
    pub fn new(period_s: f64) -> Self {
        Self {
            heat: HeatWatch::new(period_s),
            still: Still::new(),
            looked_s: f64::NEG_INFINITY,
            unanswered: Spells::default(),
            unheated: Spells::default(),
            frozen: Spells::default(),
        }
    }

    /// Takes a sample: seconds that never decrease, process value and setpoint in degrees, output in
    /// percent; NaN for what is missing.
    pub fn take(&mut self, at_s: f64, pv: f64, setpoint: f64, output: f64) {
        let known = |value: f64| Some(value).filter(|value| value.is_finite());
        self.heat
            .take(at_s, known(pv), known(setpoint), known(output));
        let frozen_s = self.still.take(at_s, pv, output);
        self.frozen.take(at_s, frozen_s);
        if at_s - self.looked_s >= LOOK_S {
            self.looked_s = at_s;
            let unanswered = self.heat.has_no_response().then_some(RESPONSE_S);
            self.unanswered.take(at_s, unanswered);
            let unheated = self.heat.rises_unheated().then_some(COAST_S);
            self.unheated.take(at_s, unheated);
        }
    }

    /// What was found.
    pub fn found(&self) -> Vec<Diagnosis> {
        let all = [
            self.unanswered.diagnosis(
                "no-response",
                NO_RESPONSE,
                &format!(
                    "output at {FULL_PCT} % or more for {} and longer, the temperature below its setpoint and up by less than a degree",
                    duration(RESPONSE_S)
                ),
            ),
            self.unheated.diagnosis(
                "heating-without-output",
                UNHEATED,
                &format!(
                    "no output for {} and longer, and the temperature went up by a degree or more within 5 min",
                    duration(COAST_S)
                ),
            ),
            self.frozen.diagnosis(
                "frozen-sensor",
                FROZEN,
                &format!(
                    "the very same process value for {} and longer while the output moved by {OUTPUT_MOVED} % or more",
                    duration(STILL_S)
                ),
            ),
        ];
        all.into_iter().flatten().collect()
    }
}

/// The sensor comes first: what looks like a dead heater may be an oven that runs away unseen.
const NO_RESPONSE: &str = "full output without response: a failed heater, or a sensor that is reversed, shorted or has fallen out while the oven runs away. Do not trust the reading: cut the heater power and read an independent thermometer";
const UNHEATED: &str = "the temperature rises although the output is zero: a relay or contactor may be stuck on, or the output is wired past the controller. Cut the heater power at its isolator and read an independent thermometer";
const FROZEN: &str = "the process value does not move while the output does: a frozen sensor or transmitter, or a controller that repeats an old value. Do not trust the reading: cut the heater power and read an independent thermometer";

impl Spells {
    /// Whether it is so now, and for how long it has been, at least.
    fn take(&mut self, at_s: f64, so_for_s: Option<f64>) {
        let Some(so_for_s) = so_for_s else {
            self.since_s = None;
            return;
        };
        let since_s = *self.since_s.get_or_insert_with(|| {
            self.count += 1;
            at_s - so_for_s
        });
        self.first_s.get_or_insert(since_s);
        self.longest_s = self.longest_s.max(at_s - since_s);
    }

    fn diagnosis(&self, code: &'static str, text: &str, seen: &str) -> Option<Diagnosis> {
        let first_s = self.first_s?;
        Some(Diagnosis {
            code,
            is_danger: true,
            text: text.to_owned(),
            evidence: format!(
                "{seen}; the longest time was {}{}",
                duration(self.longest_s),
                times(self.count)
            ),
            start_s: Some(first_s),
            tuned_since: None,
        })
    }
}

#[cfg(test)]
mod tests {
    use super::*;

    /// An hour at one sample a second.
    fn codes(sample: impl Fn(f64) -> [f64; 3]) -> Vec<(&'static str, Option<f64>)> {
        let mut symptoms = Symptoms::new(1.0);
        for second in (0..3600).map(f64::from) {
            let [pv, setpoint, output] = sample(second);
            symptoms.take(second, pv, setpoint, output);
        }
        let found = symptoms.found();
        found.iter().map(|it| (it.code, it.start_s)).collect()
    }

    #[test]
    fn full_output_that_nothing_answers_is_told_from_its_beginning() {
        let flicker = |t: f64| 21.0 + 0.1 * (t % 2.0);
        let dead = |t: f64| [flicker(t), 510.0, if t < 1200.0 { 0.0 } else { 100.0 }];
        let [("no-response", Some(from_s))] = codes(dead)[..] else {
            unreachable!("{:?}", codes(dead));
        };
        assert!((1200.0..1240.0).contains(&from_s), "{from_s}");
        // At its setpoint there is nothing to answer.
        assert_eq!(codes(|t| [flicker(t), 21.0, 100.0]), []);
    }

    #[test]
    fn a_rise_without_output_is_told() {
        let stuck = |t: f64| [20.0 + t / 60.0, 20.0, 0.0];
        assert_eq!(codes(stuck).first().unwrap().0, "heating-without-output");
        assert_eq!(codes(|t| [500.0 - t / 60.0, 20.0, 0.0]), []);
    }

    #[test]
    fn a_value_that_stands_still_is_only_frozen_when_the_output_moves() {
        let ramp = |t: f64| [510.0, 512.0, (t / 60.0).min(90.0)];
        assert_eq!(codes(ramp), [("frozen-sensor", Some(0.0))]);
        assert_eq!(codes(|_| [510.0, 510.0, 40.0]), []);
    }
}
