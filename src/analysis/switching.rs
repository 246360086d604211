//! Where the output switches between two levels: a tune, or on/off control.

use super::changes::Movement;
use crate::trace::Trace;

/// Outputs closer than this are one level, in percent.
const SAME: f64 = 0.1;
/// Levels closer than this are no switching.
const APART: f64 = 5.0;
/// Fewer cycles are none, and more than these are no tune.
const FEWEST: usize = 2;
const MOST: usize = 6;
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
    pub(crate) level: f64,
    pub(crate) samples: usize,
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
    /// Whether there is another output before and after it.
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
            Some(run) if (level - run.level).abs() <= SAME => run.samples += 1,
            before => {
                if let Some(before) = before {
                    before.ends_s = *t;
                }
                found.push(Run {
                    begins_s: *t,
                    ends_s: last_s,
                    level: *level,
                    samples: 1,
                });
            }
        }
    }
    found
}

/// Every longest stretch of at least two cycles.
pub(crate) fn switchings(runs: &[Run]) -> Vec<Switching> {
    let mut found = Vec::new();
    let mut first = 0;
    while first + 2 < runs.len() {
        let end = first + alternating(&runs[first..]);
        found.extend(switching(runs, first, end));
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

fn switching(all: &[Run], mut first: usize, end: usize) -> Option<Switching> {
    let longest = |runs: &[Run]| runs.iter().map(Run::length_s).fold(0.0, f64::max);
    let two = all[first..end].get(..2)?;
    let (low, high) = (
        two[0].level.min(two[1].level),
        two[0].level.max(two[1].level),
    );
    let idles =
        two[0].level < two[1].level && two[0].length_s() > IDLE * longest(&all[first + 1..end]);
    first += usize::from(idles);
    let runs = &all[first..end];
    let cycles = runs.len().saturating_sub(1) / 2;
    let whole = runs
        .windows(3)
        .map(|three| three[2].begins_s - three[0].begins_s);
    let later: Vec<f64> = whole.skip(1).collect();
    let (shortest, longest) = (
        later.iter().copied().fold(f64::INFINITY, f64::min),
        later.iter().copied().fold(0.0, f64::max),
    );
    (cycles >= FEWEST).then(|| Switching {
        begins_s: runs[0].begins_s,
        ends_s: runs[runs.len() - 1].ends_s,
        low,
        high,
        cycles,
        between_others: first > 0 && end < all.len(),
        regular: longest <= ALIKE * shortest,
    })
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
        let u: Vec<f64> = output.iter().flat_map(|u| [*u; 10]).collect();
        let time_s: Vec<f64> = (0..u.len()).map(|i| i as f64).collect();
        let trace = Trace {
            time_s: &time_s,
            pv: &u,
            setpoint: None,
            output: Some(&u),
            autotune: None,
        };
        switchings(&runs(&trace))
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
