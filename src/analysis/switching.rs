//! Where the output switches between two levels: a tune, or on/off control.

use std::ops::Range;

use super::changes::Movement;
use crate::trace::Trace;

/// Outputs closer than this are one level, in percent.
const SAME: f64 = 0.1;
/// Levels closer than this are no switching.
const APART: f64 = 5.0;
/// Fewer cycles are none, and more than these are no tune.
const FEWEST: usize = 2;
const MOST: usize = 6;
/// Shorter cycles than so many samples, on average, are flicker.
const SHORTEST: f64 = 4.0;
/// Over the length of a cycle before and after a tune so many samples, and this part of them, are at
/// neither of its levels; with less it is the same control, with a sample between its levels.
const OTHER: usize = 3;
const OTHER_PART: f64 = 0.1;
/// Cycles of a tune are alike to this factor.
const ALIKE: f64 = 2.0;
/// A first run at the lower level that is longer by this factor was there before.
const IDLE: f64 = 2.0;

/// A stretch of constant output.
#[derive(Clone, Copy, Debug, PartialEq)]
pub(crate) struct Run {
    pub(crate) begins_s: f64,
    /// The first sample after it, or the record's last.
    pub(crate) ends_s: f64,
    /// The output of its first sample.
    pub(crate) level: f64,
    pub(crate) samples: usize,
    /// Its last sample.
    pub(crate) last_s: f64,
    pub(crate) last_level: f64,
}

impl Run {
    pub(crate) fn length_s(&self) -> f64 {
        self.ends_s - self.begins_s
    }
}

/// A stretch in which the output is at one of two levels in turn.
#[derive(Clone, Debug, PartialEq)]
pub(crate) struct Switching {
    pub(crate) begins_s: f64,
    /// The first sample after it, or the record's last.
    pub(crate) ends_s: f64,
    pub(crate) low: f64,
    pub(crate) high: f64,
    pub(crate) cycles: usize,
    /// Whether the control before and after it is another.
    between_others: bool,
    regular: bool,
}

/// The runs of constant output, each within 0.1 % of its first sample; samples without one are
/// passed over.
pub(crate) fn runs(trace: &Trace<'_>) -> Vec<Run> {
    let output = trace.output.unwrap_or_default();
    let last_s = trace.time_s.last().copied().unwrap_or_default();
    let mut found: Vec<Run> = Vec::new();
    let known = trace.time_s.iter().zip(output);
    for (t, level) in known.filter(|(_, level)| level.is_finite()) {
        match found.last_mut() {
            Some(run) if (level - run.level).abs() <= SAME => {
                run.samples += 1;
                (run.last_s, run.last_level) = (*t, *level);
            }
            before => {
                if let Some(before) = before {
                    before.ends_s = *t;
                }
                found.push(Run {
                    begins_s: *t,
                    ends_s: last_s,
                    level: *level,
                    samples: 1,
                    last_s: *t,
                    last_level: *level,
                });
            }
        }
    }
    found
}

/// Every longest stretch of at least two cycles, in a record that is usually sampled every `period_s`.
pub(crate) fn switchings(trace: &Trace<'_>, runs: &[Run], period_s: f64) -> Vec<Switching> {
    let mut found = Vec::new();
    let mut first = 0;
    while first + 2 < runs.len() {
        let end = first + alternating(&runs[first..]);
        found.extend(switching(trace, runs, first..end, period_s));
        // The last run may be the first of other levels.
        first = (end - 1).max(first + 1);
    }
    found
}

/// How many runs from the first on alternate between two levels.
fn alternating(runs: &[Run]) -> usize {
    let [first, second, rest @ ..] = runs else {
        return runs.len();
    };
    if (first.level - second.level).abs() < APART {
        return 1;
    }
    let levels = [first.level, second.level];
    let in_turn = rest.iter().zip(levels.iter().cycle());
    let goes_on = |(run, level): &(&Run, &f64)| (run.level - **level).abs() <= SAME;
    2 + in_turn.take_while(goes_on).count()
}

fn switching(
    trace: &Trace<'_>,
    all: &[Run],
    range: Range<usize>,
    period_s: f64,
) -> Option<Switching> {
    let longest = |runs: &[Run]| runs.iter().map(Run::length_s).fold(0.0, f64::max);
    let [one, two, rest @ ..] = &all[range.clone()] else {
        return None;
    };
    let (low, high) = (one.level.min(two.level), one.level.max(two.level));
    let others_s = two.length_s().max(longest(rest));
    let idles = one.level < two.level && one.length_s() > IDLE * others_s;
    let first = range.start + usize::from(idles);
    let runs = &all[first..range.end];
    let whole: Vec<f64> = runs
        .windows(3)
        .map(|three| three[2].begins_s - three[0].begins_s)
        .collect();
    let later = whole.get(1..).unwrap_or_default();
    let (shortest, longest) = (
        later.iter().copied().fold(f64::INFINITY, f64::min),
        later.iter().copied().fold(0.0, f64::max),
    );
    let usual_s = whole.iter().sum::<f64>() / whole.len() as f64;
    let (begins_s, ends_s) = (runs.first()?.begins_s, runs.last()?.ends_s);
    let is_other = |from_s, to_s| is_other(trace, (from_s, to_s), [low, high]);
    let other_before = idles || first > 0 && is_other(begins_s - usual_s, begins_s);
    let other_after = range.end < all.len() && is_other(ends_s, ends_s + usual_s);
    let cycles = runs.len().saturating_sub(1) / 2;
    (cycles >= FEWEST && usual_s >= SHORTEST * period_s).then_some(Switching {
        begins_s,
        ends_s,
        low,
        high,
        cycles,
        between_others: other_before && other_after,
        regular: longest <= ALIKE * shortest,
    })
}

/// Whether from one time up to another more than stray samples are at neither level.
fn is_other(trace: &Trace<'_>, (from_s, to_s): (f64, f64), levels: [f64; 2]) -> bool {
    let first = trace.time_s.partition_point(|t| *t < from_s);
    let end = trace.time_s.partition_point(|t| *t < to_s).max(first);
    let output = trace.output.and_then(|output| output.get(first..end));
    let known = || {
        let output = output.unwrap_or_default();
        output.iter().filter(|u| u.is_finite())
    };
    let is_off = |u: &&f64| levels.iter().all(|level| (*u - level).abs() > SAME);
    let (count, off) = (known().count(), known().filter(is_off).count());
    off >= OTHER && off as f64 >= OTHER_PART * count as f64
}

impl Switching {
    /// Whether it can have been a tune: a few regular cycles with other control before and after, and
    /// nobody moved the setpoint meanwhile.
    pub(crate) fn may_be_a_tune(&self, movements: &[Movement]) -> bool {
        let moved = |movement: &Movement| (self.begins_s..self.ends_s).contains(&movement.begins_s);
        self.cycles <= MOST && self.between_others && self.regular && !movements.iter().any(moved)
    }

    /// Whether it is how the loop is controlled.
    pub(crate) fn is_lasting(&self) -> bool {
        self.cycles > MOST || !self.between_others
    }

    pub(crate) fn overlaps(&self, from_s: f64, to_s: f64) -> bool {
        self.begins_s < to_s && self.ends_s > from_s
    }
}

#[cfg(test)]
mod tests {
    use super::*;

    /// One output for each ten seconds.
    fn found(output: &[f64]) -> Vec<Switching> {
        found_in(&output.iter().flat_map(|u| [*u; 10]).collect::<Vec<f64>>())
    }

    /// One output for each second.
    fn found_in(u: &[f64]) -> Vec<Switching> {
        let time_s: Vec<f64> = (0..u.len()).map(|i| i as f64).collect();
        let trace = Trace {
            time_s: &time_s,
            pv: u,
            setpoint: None,
            output: Some(u),
            autotune: None,
        };
        switchings(&trace, &runs(&trace), 1.0)
    }

    #[test]
    fn a_few_cycles_between_other_outputs_may_be_a_tune() {
        let all = found(&[40.0, 40.5, 100.0, 0.0, 100.0, 0.0, 100.0, 0.0, 37.0, 38.0]);
        assert_eq!(all.len(), 1, "{all:?}");
        let only = &all[0];
        assert_eq!((only.begins_s, only.ends_s), (20.0, 80.0));
        assert_eq!((only.low, only.high, only.cycles), (0.0, 100.0, 2));
        assert!(only.may_be_a_tune(&[]) && !only.is_lasting());
    }

    #[test]
    fn switching_without_end_is_control() {
        let ends = [0.0, 100.0].repeat(3);
        assert!(found(&ends)[0].is_lasting());
        let mut long = vec![50.0];
        long.extend([0.0, 100.0].repeat(8));
        long.push(50.0);
        let long = found(&long);
        assert!(long[0].is_lasting() && !long[0].may_be_a_tune(&[]));
    }

    #[test]
    fn control_that_is_cut_in_pieces_is_no_tune() {
        // Half a minute at each level, and now and then a sample between them.
        let piece = [[0.0; 30], [100.0; 30]].concat().repeat(3);
        let output = [&piece[..], &[60.0], &piece, &[60.0], &piece].concat();
        let pieces = found_in(&output);
        assert_eq!(pieces.len(), 3, "{pieces:?}");
        assert!(
            pieces
                .iter()
                .all(|one| one.is_lasting() && !one.may_be_a_tune(&[]))
        );
    }

    #[test]
    fn an_idle_output_before_the_first_rise_is_what_was_before() {
        let mut output = vec![0.0; 9];
        output.extend([100.0, 0.0, 100.0, 0.0, 100.0, 30.0]);
        let all = found(&output);
        assert!((all[0].begins_s - 90.0).abs() < 1e-9);
        assert!(all[0].may_be_a_tune(&[]));
    }

    #[test]
    fn swings_that_die_away_are_no_tune() {
        let output = [
            50.0, 100.0, 100.0, 100.0, 100.0, 0.0, 0.0, 0.0, 100.0, 100.0, 100.0, 0.0, 100.0, 0.0,
            100.0, 55.0,
        ];
        let all = found(&output);
        assert!(
            !all[0].may_be_a_tune(&[]) && !all[0].is_lasting(),
            "{all:?}"
        );
    }
}
