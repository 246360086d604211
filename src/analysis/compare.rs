//! Two steps side by side.

use super::episode::{Episode, EpisodeKind, Note, StepNumbers};
use super::integrals::integrals;
use super::output_limit::Way;
use super::stretch::Stretch;
use crate::figures::amount;
use crate::trace::Trace;

/// Targets closer than this are one.
const SAME_TARGET: f64 = 0.05;
/// Starts closer than this part of the step (or than the band) are one, and so are bands. Common
/// practice, no source.
const SAME_PART: f64 = 0.05;
/// Output limits closer than this are one, in percent of full power.
const SAME_LIMIT: f64 = 1.0;

/// Two steps over one window.
#[derive(Clone, Debug, PartialEq)]
pub struct Comparison {
    /// The window of the integrals: the shorter of the two.
    pub window_s: f64,
    /// The numbers before, with the integrals over that window.
    pub before: StepNumbers,
    /// The numbers after, likewise.
    pub after: StepNumbers,
    /// Why the two are not the same test, as far as their samples tell; empty when nothing speaks
    /// against comparing them. Settings and load may differ all the same.
    pub not_comparable: Vec<Note>,
}

/// Compares two setpoint (or output) steps, each given with the trace it was found in: the
/// integrals of both are taken over the shorter window, all else stays as it is.
///
/// ```
/// use emberline::analysis::{GivenStep, Options, Trace, compare_steps, find_episodes};
/// let step = |tau: f64, seconds: u32| {
///     let time_s: Vec<f64> = (0..=seconds).map(f64::from).collect();
///     let pv: Vec<f64> = time_s.iter().map(|t| 100.0 - 80.0 * (-t / tau).exp()).collect();
///     (time_s, pv)
/// };
/// let (slow, fast) = (step(60.0, 900), step(20.0, 600));
/// let trace = |(time_s, pv)| Trace { time_s, pv, setpoint: None, output: None, autotune: None };
/// let before = trace((&slow.0, &slow.1));
/// let after = trace((&fast.0, &fast.1));
/// let given = Some(GivenStep { at_s: Some(0.0), target: Some(100.0) });
/// let options = Options { given, ..Options::default() };
/// let episode = |trace| find_episodes(trace, &options).unwrap().remove(0);
/// let found = compare_steps((&before, &episode(&before)), (&after, &episode(&after)));
/// assert_eq!(found.window_s, 600.0);
/// assert_eq!(found.not_comparable, []);
/// // IAE of a first order step is tau times the step: three times as large before.
/// assert!((found.before.iae.unwrap() / found.after.iae.unwrap() - 3.0).abs() < 0.01);
/// ```
pub fn compare_steps(before: (&Trace<'_>, &Episode), after: (&Trace<'_>, &Episode)) -> Comparison {
    let length = |episode: &Episode| episode.end_s - episode.start_s;
    let window_s = length(before.1).min(length(after.1));
    let mut not_comparable = Vec::new();
    not_comparable.extend(kinds(before.1, after.1));
    not_comparable.extend(targets(before.1, after.1));
    not_comparable.extend(starts(before.1, after.1));
    not_comparable.extend(bands(before.1, after.1));
    not_comparable.extend(limits(before, after));
    Comparison {
        window_s,
        before: over_window(before.0, before.1, window_s),
        after: over_window(after.0, after.1, window_s),
        not_comparable,
    }
}

/// The episode's numbers with the integrals over its first `window_s` seconds only: what runs of
/// unequal length are compared by. `trace` is the one the episode was found in.
pub fn over_window(trace: &Trace<'_>, episode: &Episode, window_s: f64) -> StepNumbers {
    let mut numbers = episode.numbers.clone();
    let line = Stretch::cut(trace, episode.start_s, episode.start_s + window_s);
    if let Some(target) = episode.to.filter(|_| numbers.iae.is_some()) {
        let found = integrals(&line.t, &line.y, target);
        numbers.iae = Some(found.iae);
        numbers.ise = Some(found.ise);
        numbers.itae = Some(found.itae);
        numbers.itse = Some(found.itse);
        numbers.window_s = Some(line.end_s());
    }
    numbers
}

fn differs(about: &'static str, what: &str, before: f64, after: f64) -> Note {
    Note {
        code: "not-comparable",
        about,
        text: format!(
            "{what} differ: {} before, {} after",
            amount(before),
            amount(after)
        ),
    }
}

fn kinds(before: &Episode, after: &Episode) -> Option<Note> {
    let step = |episode: &Episode| {
        matches!(
            episode.kind,
            EpisodeKind::SetpointStep | EpisodeKind::OutputStep
        )
    };
    let same = before.kind == after.kind && step(before);
    (!same).then(|| Note {
        code: "not-comparable",
        about: "kind",
        text: "only two steps of one kind can be compared: choose others".to_owned(),
    })
}

fn targets(before: &Episode, after: &Episode) -> Option<Note> {
    let (one, other) = (before.to?, after.to?);
    ((one - other).abs() > SAME_TARGET)
        .then(|| differs("to", "the target temperatures", one, other))
}

fn starts(before: &Episode, after: &Episode) -> Option<Note> {
    let (one, other) = (before.numbers.initial?, after.numbers.initial?);
    let near = |episode: &Episode, start: f64| {
        let step = episode.to.map_or(0.0, |to| (to - start).abs());
        let band = episode.numbers.settling_band.unwrap_or(0.0);
        band.max(SAME_PART * step)
    };
    let near = near(before, one).min(near(after, other));
    ((one - other).abs() > near).then(|| differs("initial", "the start temperatures", one, other))
}

fn bands(before: &Episode, after: &Episode) -> Option<Note> {
    let (one, other) = (before.numbers.settling_band?, after.numbers.settling_band?);
    let near = SAME_PART * one.max(other);
    ((one - other).abs() > near)
        .then(|| differs("settling_band", "the bands to settle in", one, other))
}

/// Only where the output of both steps shows a limit.
fn limits(before: (&Trace<'_>, &Episode), after: (&Trace<'_>, &Episode)) -> Option<Note> {
    let (one, other) = (limit(before)?, limit(after)?);
    ((one - other).abs() > SAME_LIMIT).then(|| differs("", "the output limits", one, other))
}

fn limit((trace, episode): (&Trace<'_>, &Episode)) -> Option<f64> {
    let target = episode.to?;
    let way = Way {
        trace,
        from_s: episode.start_s,
        to_s: episode.end_s,
        target,
        sign: (target - episode.numbers.initial?).signum(),
    };
    way.limit()
}

#[cfg(test)]
mod tests {
    use super::super::own::OwnNumbers;
    use super::*;

    fn episode(initial: f64, to: f64, band: f64) -> Episode {
        Episode {
            kind: EpisodeKind::SetpointStep,
            start_s: 0.0,
            end_s: 2.0,
            from: None,
            to: Some(to),
            numbers: StepNumbers {
                initial: Some(initial),
                settling_band: Some(band),
                ..StepNumbers::default()
            },
            own: OwnNumbers::default(),
            notes: Vec::new(),
        }
    }

    fn reasons(before: &Episode, after: &Episode) -> Vec<&'static str> {
        let trace = Trace {
            time_s: &[0.0, 1.0, 2.0],
            pv: &[0.0, 1.0, 2.0],
            setpoint: None,
            output: None,
            autotune: None,
        };
        let found = compare_steps((&trace, before), (&trace, after));
        found.not_comparable.iter().map(|note| note.about).collect()
    }

    #[test]
    fn another_start_target_or_band_is_said() {
        let before = episode(490.0, 510.0, 2.0);
        assert_eq!(reasons(&before, &episode(491.5, 510.0, 2.0)), [""; 0]);
        assert_eq!(reasons(&before, &episode(495.0, 510.0, 2.0)), ["initial"]);
        assert_eq!(reasons(&before, &episode(490.0, 511.0, 2.0)), ["to"]);
        assert_eq!(
            reasons(&before, &episode(490.0, 510.0, 1.0)),
            ["settling_band"]
        );
    }

    #[test]
    fn a_hold_is_not_compared_with_a_step() {
        let mut hold = episode(490.0, 510.0, 2.0);
        hold.kind = EpisodeKind::Hold;
        assert_eq!(reasons(&episode(490.0, 510.0, 2.0), &hold), ["kind"]);
    }
}
