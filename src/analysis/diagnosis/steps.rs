//! Steps that swing for long, or creep.

use super::since::{LastTune, TunedSince};
use super::{Diagnosis, times};
use crate::analysis::episode::{Episode, EpisodeKind};
use crate::analysis::output_limit::Way;
use crate::analysis::stretch::Stretch;
use crate::figures::{amount, duration, fixed};
use crate::trace::Trace;

/// A second swing larger than this part of the first dies out slowly: the quarter-amplitude decay of
/// Ziegler and Nichols, Optimum settings for automatic controllers, 1942.
const QUARTER_DECAY: f64 = 0.25;
/// A first swing must be larger than so many standard deviations of the noise.
const SWING_OVER_NOISE: f64 = 6.0;
/// A larger overshoot than this, in percent of the step, is aggressive by itself.
const LARGE_OVERSHOOT: f64 = 25.0;
/// A smaller one is none.
const NO_OVERSHOOT: f64 = 2.0;
/// Settling takes so many times as long as the first half of the way: a first order response takes
/// ln 50 / ln 2 = 5.6 times.
const CREEP: f64 = 12.0;

pub(super) fn diagnose(trace: &Trace<'_>, episodes: &[Episode]) -> Vec<Diagnosis> {
    let steps = || {
        let is_step = |episode: &&Episode| episode.kind == EpisodeKind::SetpointStep;
        episodes.iter().filter(is_step)
    };
    let tune = LastTune::of(episodes);
    let aggressive: Vec<Seen> = steps().filter_map(aggressive).collect();
    let sluggish = steps().filter_map(|step| sluggish(trace, step)).collect();
    [
        (aggressive, "aggressive", AGGRESSIVE),
        (sluggish, "sluggish", SLUGGISH),
    ]
    .into_iter()
    .flat_map(|(seen, code, text)| by_tuning(&seen, tune, code, text))
    .collect()
}

/// When, and what.
type Seen = (f64, String);

const AGGRESSIVE: &str = "the loop is tuned aggressively: a wider proportional band (less gain) or a longer integral time calms it";
const SLUGGISH: &str = "the loop creeps to its setpoint: a shorter integral time, or a narrower proportional band (more gain), brings it there sooner";

/// One diagnosis for all of the present tuning, and one for all before the last tune: the evidence of
/// the first, and how many there are.
fn by_tuning(
    seen: &[Seen],
    tune: Option<LastTune>,
    code: &'static str,
    text: &str,
) -> Vec<Diagnosis> {
    let since = |(start_s, _): &Seen| LastTune::after(tune, *start_s);
    let diagnosis = |alike: &[&Seen], tuned_since: Option<TunedSince>| {
        let (start_s, evidence) = alike.first()?;
        Some(Diagnosis {
            code,
            is_danger: false,
            text: text.to_owned(),
            evidence: evidence.clone() + &times(alike.len()),
            start_s: Some(*start_s),
            tuned_since,
        })
    };
    let (history, present): (Vec<&Seen>, Vec<&Seen>) =
        seen.iter().partition(|it| since(it).is_some());
    let past = history.first().and_then(|it| since(it));
    let found = [diagnosis(&present, None), diagnosis(&history, past)];
    found.into_iter().flatten().collect()
}

fn aggressive(step: &Episode) -> Option<Seen> {
    let numbers = &step.numbers;
    let stands_out = numbers.overshoot? > SWING_OVER_NOISE * numbers.noise_sd.unwrap_or_default();
    let slow = numbers.decay_ratio.filter(|ratio| *ratio > QUARTER_DECAY);
    let large = numbers.overshoot_pct.filter(|part| *part > LARGE_OVERSHOOT);
    let evidence = match (slow, large) {
        (Some(ratio), _) => format!(
            "the second swing is {} of the first, {} apart; more than {QUARTER_DECAY} dies out slowly",
            amount(ratio),
            duration(numbers.period_s.unwrap_or_default())
        ),
        (None, Some(part)) => format!(
            "overshoot {} % of the step; more than {LARGE_OVERSHOOT} % is much",
            fixed(part, 0)
        ),
        (None, None) => return None,
    };
    stands_out.then_some((step.start_s, evidence))
}

/// Without overshoot, and the second half takes far longer than the first; while the output is at
/// its limit it is the heater that is slow, and nothing is said of the tuning.
fn sluggish(trace: &Trace<'_>, step: &Episode) -> Option<Seen> {
    let numbers = &step.numbers;
    let (initial, target) = numbers.initial.zip(step.to)?;
    let part = numbers.overshoot_pct.filter(|part| *part < NO_OVERSHOOT);
    let (settled_s, _) = numbers.settling_2pct_s.zip(part)?;
    let line = Stretch::cut(trace, step.start_s, step.end_s);
    let sign = (target - initial).signum();
    let half = line.first_reaches(f64::midpoint(initial, target), sign)?;
    let creeps = settled_s > CREEP * half.at_s;
    let (from_s, to_s) = (step.start_s + half.at_s, step.start_s + settled_s);
    let way = Way {
        trace,
        from_s: step.start_s,
        to_s: step.end_s,
        target,
        sign,
    };
    let held_s = way.limit().map(|limit| way.time_at(limit, from_s, to_s));
    let is_held = held_s.is_some_and(|held_s| held_s > 0.5 * (to_s - from_s));
    (creeps && !is_held).then(|| {
        let evidence = format!(
            "half of the way took {}, to settle within 2 % took {}; more than {CREEP} times as long is creeping",
            duration(half.at_s),
            duration(settled_s)
        );
        (step.start_s, evidence)
    })
}

#[cfg(test)]
mod tests {
    use super::*;
    use crate::analysis::{GivenStep, Options, find_episodes};

    fn codes(response: impl Fn(f64) -> f64) -> Vec<&'static str> {
        let time_s: Vec<f64> = (0..7200).map(f64::from).collect();
        let pv: Vec<f64> = time_s
            .iter()
            .map(|t| 100.0 + 100.0 * response(*t))
            .collect();
        let trace = Trace {
            time_s: &time_s,
            pv: &pv,
            setpoint: None,
            output: None,
            autotune: None,
        };
        let given = Some(GivenStep {
            at_s: None,
            target: Some(200.0),
        });
        let options = Options {
            given,
            ..Options::default()
        };
        let episodes = find_episodes(&trace, &options).unwrap();
        diagnose(&trace, &episodes)
            .iter()
            .map(|it| it.code)
            .collect()
    }

    /// Second order, natural frequency 0.02 rad/s.
    fn second_order(damping: f64) -> impl Fn(f64) -> f64 {
        let root = (1.0 - damping * damping).sqrt();
        move |t| {
            let (decay, turn) = ((-damping * 0.02 * t).exp(), 0.02 * root * t);
            1.0 - decay * (turn.cos() + damping / root * turn.sin())
        }
    }

    #[test]
    fn slow_decay_and_a_large_overshoot_are_aggressive() {
        // In closed form the decay ratio is exp(-2 pi z / sqrt(1 - z^2)): 0.53 and 0.025; the
        // overshoot is its root: 73 % and 16 %.
        assert_eq!(codes(second_order(0.1)), ["aggressive"]);
        assert_eq!(codes(second_order(0.5)), [""; 0]);
        // 37 %, but the second swing is 0.14 of the first.
        assert_eq!(codes(second_order(0.3)), ["aggressive"]);
    }

    #[test]
    fn a_long_tail_is_sluggish_and_a_first_order_response_is_not() {
        assert_eq!(codes(|t| 1.0 - (-t / 300.0).exp()), [""; 0]);
        let tail = |t: f64| 1.0 - 0.7 * (-t / 40.0).exp() - 0.3 * (-t / 900.0).exp();
        assert_eq!(codes(tail), ["sluggish"]);
    }
}
