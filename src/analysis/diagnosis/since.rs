//! What was seen before the last autotune tells of a tuning that the loop may no longer have.

use crate::analysis::episode::{Episode, EpisodeKind};
use crate::trace::TuneOutcome;

/// An autotune that ended after something was seen, so that this is history.
#[derive(Clone, Copy, Debug, PartialEq, serde::Serialize)]
pub struct TunedSince {
    /// When it ended, in the trace's seconds.
    pub at_s: f64,
    /// Tuned, or not known; one that changed nothing makes nothing history.
    pub outcome: TuneOutcome,
}

/// The last autotune that changed the tuning, or may have.
#[derive(Clone, Copy, Debug)]
pub(super) struct LastTune {
    began_s: f64,
    since: TunedSince,
}

impl LastTune {
    pub(super) fn of(episodes: &[Episode]) -> Option<Self> {
        episodes.iter().rev().find_map(|episode| {
            let outcome = episode.own.tune.outcome?;
            let may_count =
                episode.kind == EpisodeKind::Autotune && outcome != TuneOutcome::Unchanged;
            may_count.then_some(Self {
                began_s: episode.start_s,
                since: TunedSince {
                    at_s: episode.end_s,
                    outcome,
                },
            })
        })
    }

    /// Of what was seen first at `start_s`; `None` where it is of the tuning at the record's end.
    pub(super) fn after(this: Option<Self>, start_s: f64) -> Option<TunedSince> {
        let later = this.filter(|tune| start_s < tune.began_s)?;
        Some(later.since)
    }
}

#[cfg(test)]
mod tests {
    use super::*;
    use crate::analysis::{Known, Options, Told, Trace, TuneEnd, diagnose, find_episodes};

    const TUNE_S: (f64, f64) = (4000.0, 4600.0);

    /// Second order, 0.02 rad/s, damped by 0.1: swings for long.
    fn swinging(t: f64) -> f64 {
        let root = (1.0_f64 - 0.01).sqrt();
        let turn = 0.02 * root * t;
        1.0 - (-0.002 * t).exp() * (turn.cos() + 0.1 / root * turn.sin())
    }

    /// Two steps that swing for long, and an autotune between them: what is seen, with the tune since.
    fn seen(outcome: TuneOutcome) -> Vec<(&'static str, bool, Option<TunedSince>)> {
        let time_s: Vec<f64> = (0..9600).map(f64::from).collect();
        let pv = |t: &f64| match t {
            ..600.0 => 100.0,
            600.0..6000.0 => 100.0 + 100.0 * swinging(t - 600.0),
            _ => 200.0 + 100.0 * swinging(t - 6000.0),
        };
        let setpoint = |t: &f64| match t {
            ..600.0 => 100.0,
            600.0..6000.0 => 200.0,
            _ => 300.0,
        };
        let pv: Vec<f64> = time_s.iter().map(pv).collect();
        let setpoint: Vec<f64> = time_s.iter().map(setpoint).collect();
        let tunes: Vec<bool> = time_s
            .iter()
            .map(|t| (TUNE_S.0..TUNE_S.1).contains(t))
            .collect();
        let trace = Trace {
            time_s: &time_s,
            pv: &pv,
            setpoint: Some(&setpoint),
            output: None,
            autotune: Some(&tunes),
        };
        let end = TuneEnd {
            at_s: TUNE_S.1,
            outcome,
            text: String::new(),
        };
        let options = Options {
            told: Told {
                tune_ends: vec![end],
                ..Told::default()
            },
            ..Options::default()
        };
        let episodes = find_episodes(&trace, &options).unwrap();
        let found = diagnose(&trace, &episodes, Known::default());
        let is_more = |it: &str| it.ends_with("(and once more)");
        found
            .iter()
            .map(|it| (it.code, is_more(&it.evidence), it.tuned_since))
            .collect()
    }

    #[test]
    fn what_a_tune_ended_is_told_apart_from_what_the_loop_does_since() {
        for outcome in [TuneOutcome::Tuned, TuneOutcome::Unknown] {
            let at_s = TUNE_S.1;
            let since = Some(TunedSince { at_s, outcome });
            let both = [("aggressive", false, None), ("aggressive", false, since)];
            assert_eq!(seen(outcome), both);
        }
        assert_eq!(seen(TuneOutcome::Unchanged), [("aggressive", true, None)]);
    }
}
