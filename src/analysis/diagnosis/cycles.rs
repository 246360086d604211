//! Oscillations that last.

use super::since::{LastTune, TunedSince};
use super::{Diagnosis, Known, times};
use crate::analysis::episode::{Episode, EpisodeKind};
use crate::figures::{amount, duration, fixed};
use crate::trace::Trace;

/// A cycle must be larger than so many standard deviations of the noise.
const CYCLE_OVER_NOISE: f64 = 3.0;
/// An output that moves by less than this, in percent, does not drive a cycle.
pub(super) const DRIVES: f64 = 2.0;
/// A period within this part of the output's cycle time is the output's own.
pub(super) const SAME_PERIOD: f64 = 0.1;

/// Where a lasting oscillation comes from.
#[derive(Clone, Copy, Debug, PartialEq, Eq)]
pub(super) enum Source {
    /// The output's own switching.
    CycleTime,
    /// The loop.
    Loop,
    /// Not the output, which rests.
    Outside,
}

pub(super) fn diagnose(trace: &Trace<'_>, episodes: &[Episode], known: Known) -> Vec<Diagnosis> {
    let cycles: Vec<_> = episodes
        .iter()
        .filter_map(|episode| Cycle::of(trace, episode, known))
        .collect();
    let tune = LastTune::of(episodes);
    let since = |cycle: &Cycle| match cycle.source {
        Source::Loop => LastTune::after(tune, cycle.start_s),
        // No tuning takes these away.
        Source::CycleTime | Source::Outside => None,
    };
    [
        (Source::Loop, false),
        (Source::Loop, true),
        (Source::CycleTime, false),
        (Source::Outside, false),
    ]
    .into_iter()
    .filter_map(|(source, is_history)| {
        let is_alike =
            |cycle: &&Cycle| cycle.source == source && since(cycle).is_some() == is_history;
        let mut alike = cycles.iter().filter(is_alike);
        let first = alike.next()?;
        Some(first.diagnosis(1 + alike.count(), since(first)))
    })
    .collect()
}

#[derive(Clone, Copy, Debug)]
struct Cycle {
    start_s: f64,
    amplitude: f64,
    period_s: f64,
    /// The least and the most output while it lasts.
    output: Option<(f64, f64)>,
    source: Source,
}

impl Cycle {
    fn of(trace: &Trace<'_>, episode: &Episode, known: Known) -> Option<Self> {
        let lasts = matches!(
            episode.kind,
            EpisodeKind::SetpointStep | EpisodeKind::Hold | EpisodeKind::Soak
        );
        let numbers = &episode.numbers;
        let (amplitude, period_s) = numbers.amplitude.zip(numbers.period_s)?;
        let stands_out = amplitude > CYCLE_OVER_NOISE * numbers.noise_sd.unwrap_or_default();
        let output = output_range(trace, episode.start_s, episode.end_s);
        let is_own = |cycle_s: f64| (period_s / cycle_s - 1.0).abs() <= SAME_PERIOD;
        let source = if known.cycle_time_s.is_some_and(is_own) {
            Source::CycleTime
        } else if output.is_some_and(|(least, most)| most - least < DRIVES) {
            Source::Outside
        } else {
            Source::Loop
        };
        (lasts && stands_out).then_some(Self {
            start_s: episode.start_s,
            amplitude,
            period_s,
            output,
            source,
        })
    }

    fn diagnosis(&self, count: usize, tuned_since: Option<TunedSince>) -> Diagnosis {
        let output = self.output.map_or_else(String::new, |(least, most)| {
            format!(
                ", output between {} and {} %",
                fixed(least, 0),
                fixed(most, 0)
            )
        });
        let evidence = format!(
            "swings by {} to either side every {}, more than {CYCLE_OVER_NOISE} times the noise{output}{}",
            amount(self.amplitude),
            duration(self.period_s),
            times(count)
        );
        Diagnosis {
            tuned_since,
            ..self.source.diagnosis(evidence, Some(self.start_s))
        }
    }
}

impl Source {
    pub(super) fn diagnosis(self, evidence: String, start_s: Option<f64>) -> Diagnosis {
        let (code, text) = match self {
            Self::Loop => ("limit-cycle", LIMIT_CYCLE),
            Self::CycleTime => ("cycle-time-visible", CYCLE_TIME),
            Self::Outside => ("cycle-from-outside", OUTSIDE),
        };
        Diagnosis {
            code,
            is_danger: false,
            text: text.to_owned(),
            evidence,
            start_s,
            tuned_since: None,
        }
    }
}

const LIMIT_CYCLE: &str = "the loop swings and does not stop (a limit cycle): too much gain or too little integral time, an output that only switches, or play in a valve or damper";
const CYCLE_TIME: &str = "the temperature follows the output's switching: a shorter cycle time calms it; a mechanical relay then wears sooner";
const OUTSIDE: &str = "the temperature swings while the output rests: the cause is outside the loop (supply, a neighbour, the sensor's place)";

fn output_range(trace: &Trace<'_>, from_s: f64, to_s: f64) -> Option<(f64, f64)> {
    let first = trace.time_s.partition_point(|t| *t < from_s);
    let end = trace.time_s.partition_point(|t| *t <= to_s).max(first);
    let known = trace.output?[first..end].iter().filter(|u| u.is_finite());
    known.fold(None, |range, u| {
        let (least, most) = range.unwrap_or((*u, *u));
        Some((least.min(*u), most.max(*u)))
    })
}

#[cfg(test)]
mod tests {
    use super::*;
    use crate::analysis::{Options, find_episodes};

    /// Two hours at 510 that swing by 3 every 10 minutes, the output by `swing` about 40 %.
    fn codes(swing: f64, cycle_time_s: Option<f64>) -> Vec<&'static str> {
        let time_s: Vec<f64> = (0..7200).map(f64::from).collect();
        let wave = |t: &f64, late: f64| ((t / 600.0 - late) * std::f64::consts::TAU).sin();
        let pv: Vec<f64> = time_s.iter().map(|t| 510.0 + 3.0 * wave(t, 0.25)).collect();
        let output: Vec<f64> = time_s.iter().map(|t| 40.0 + swing * wave(t, 0.0)).collect();
        let setpoint = vec![510.0; pv.len()];
        let trace = Trace {
            time_s: &time_s,
            pv: &pv,
            setpoint: Some(&setpoint),
            output: Some(&output),
            autotune: None,
        };
        let episodes = find_episodes(&trace, &Options::default()).unwrap();
        let found = diagnose(&trace, &episodes, Known { cycle_time_s });
        found.iter().map(|it| it.code).collect()
    }

    #[test]
    fn a_cycle_belongs_to_the_loop_to_its_output_or_to_neither() {
        assert_eq!(codes(30.0, None), ["limit-cycle"]);
        assert_eq!(codes(30.0, Some(20.0)), ["limit-cycle"]);
        assert_eq!(codes(0.5, None), ["cycle-from-outside"]);
        assert_eq!(codes(30.0, Some(600.0)), ["cycle-time-visible"]);
    }
}
