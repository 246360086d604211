//! Autotunes: where they are, and their numbers.

use super::changes::Movement;
use super::cycles::{Cycles, cycles};
use super::episode::{Note, StepNumbers};
use super::gaps::Gaps;
use super::harmonic::{Response, response};
use super::own::TuneNumbers;
use super::stretch::Stretch;
use super::switching::Switching;
use crate::figures::{amount, duration};
use crate::trace::{Told, Trace, TuneEnd, TuneOutcome};

/// The phase of a loop at its ultimate point, and how far from it the cycle may be unsaid.
const ULTIMATE_DEG: f64 = -180.0;
const NEAR_DEG: f64 = 20.0;

/// An autotune, by whatever means it was found.
#[derive(Clone, Debug, PartialEq)]
pub(crate) struct Tune {
    pub(crate) begins_s: f64,
    /// The first sample after it, or the record's last.
    pub(crate) ends_s: f64,
    /// Whether the record goes on after it.
    pub(crate) is_over: bool,
    /// Whether it is told by the output alone.
    pub(crate) is_inferred: bool,
}

/// The numbers of an autotune, and what must be known to trust them.
pub(crate) struct MeasuredTune {
    pub(crate) own: TuneNumbers,
    pub(crate) period_s: Option<f64>,
    pub(crate) amplitude: Option<f64>,
    pub(crate) notes: Vec<Note>,
}

/// The autotunes of a record: from its own column, or else inferred from an output that switches
/// between two levels for a few cycles.
pub(crate) fn tunes(
    trace: &Trace<'_>,
    switchings: &[Switching],
    movements: &[Movement],
    told: &Told,
) -> Vec<Tune> {
    if let Some(active) = trace.autotune {
        return told_by_column(trace.time_s, active);
    }
    let inferred = switchings.iter().filter(|switching| {
        switching.may_be_a_tune(movements) && !told.is_by_hand(switching.begins_s)
    });
    inferred
        .map(|switching| Tune {
            begins_s: switching.begins_s,
            ends_s: switching.ends_s,
            is_over: true,
            is_inferred: true,
        })
        .collect()
}

/// Stretches with the autotune active: from its first sample to the first one after it.
fn told_by_column(time_s: &[f64], active: &[bool]) -> Vec<Tune> {
    let mut found = Vec::new();
    let mut first = 0;
    for run in active.chunk_by(|a, b| a == b) {
        let end = first + run.len();
        if run[0] {
            found.push(Tune {
                begins_s: time_s[first],
                ends_s: time_s[end.min(active.len() - 1)],
                is_over: end < active.len(),
                is_inferred: false,
            });
        }
        first = end;
    }
    found
}

impl Tune {
    pub(crate) fn contains(&self, at_s: f64) -> bool {
        (self.begins_s..self.ends_s).contains(&at_s)
    }

    /// Works out its cycles. Its end is told by the first word on one after it began and before
    /// `before_s`, when the next one begins: it may come before the sample that shows the end.
    pub(crate) fn measure(
        &self,
        trace: &Trace<'_>,
        common: &StepNumbers,
        told: &Told,
        before_s: f64,
        period_s: f64,
    ) -> MeasuredTune {
        let line = Stretch::cut(trace, self.begins_s, self.ends_s);
        let found = cycles(&line, common.noise_sd.unwrap_or_default());
        let end = told
            .tune_ends
            .iter()
            .find(|end| end.at_s > self.begins_s && end.at_s < before_s)
            .filter(|_| self.is_over);
        let mut notes = vec![self.outcome_note(end)];
        if self.is_inferred {
            notes.push(Note::new(
                "inferred",
                "",
                "no column tells of an autotune: this one is inferred from an output that switches between two levels",
            ));
        }
        let response = found
            .as_ref()
            .and_then(|cycles| self.response(trace, cycles));
        let numbers = MeasuredTune {
            own: own(end, found.as_ref(), response),
            period_s: found.as_ref().map(|cycles| cycles.period.mean),
            amplitude: found.as_ref().map(|cycles| cycles.amplitude.mean),
            notes: Vec::new(),
        };
        notes.extend(missing_cycles(found.as_ref()));
        notes.extend(missing_response(trace, found.as_ref(), response));
        let gap = found
            .as_ref()
            .and_then(|cycles| gap(&line, cycles, Gaps::of_period(period_s)));
        notes.extend(gap);
        MeasuredTune { notes, ..numbers }
    }

    fn outcome_note(&self, end: Option<&TuneEnd>) -> Note {
        let text = match end {
            Some(end) => end.text.clone(),
            None if !self.is_over => "the record ends while it is under way".to_owned(),
            None => "the record does not tell what came of it: the tuning before and after it is not known".to_owned(),
        };
        Note::new("outcome", "outcome", text)
    }

    fn response(&self, trace: &Trace<'_>, cycles: &Cycles) -> Option<Response> {
        let first = trace.time_s.partition_point(|t| *t < self.begins_s);
        let (from, to) = (first + cycles.first, first + cycles.last);
        response(trace, from, to, cycles.period.mean)
    }
}

fn own(end: Option<&TuneEnd>, found: Option<&Cycles>, response: Option<Response>) -> TuneNumbers {
    TuneNumbers {
        outcome: Some(end.map_or(TuneOutcome::Unknown, |end| end.outcome)),
        cycles: Some(found.map_or(0, |cycles| cycles.count)),
        amplitude_spread: found.and_then(|cycles| cycles.amplitude.sd),
        period_spread_s: found.and_then(|cycles| cycles.period.sd),
        ultimate_gain: response.map(|response| 1.0 / response.gain),
        ultimate_period_s: response.and(found).map(|cycles| cycles.period.mean),
    }
}

fn missing_cycles(found: Option<&Cycles>) -> Vec<Note> {
    let few = |about, text| Note::new("few-cycles", about, text);
    let mut notes = Vec::new();
    if found.is_none() {
        let text = "the process value did not swing for a whole cycle after the first";
        notes.extend(["amplitude", "period_s"].map(|about| few(about, text)));
    }
    if found.is_none_or(|cycles| cycles.period.sd.is_none()) {
        let text = "a spread takes three whole cycles after the first";
        notes.extend(["amplitude_spread", "period_spread_s"].map(|about| few(about, text)));
    }
    notes
}

fn missing_response(
    trace: &Trace<'_>,
    found: Option<&Cycles>,
    response: Option<Response>,
) -> Vec<Note> {
    let both = |code, text: &str| {
        ["ultimate_gain", "ultimate_period_s"].map(|about| Note::new(code, about, text))
    };
    let Some(response) = response else {
        let (code, text) = match (trace.output, found) {
            (None, _) => ("no-output", "there is no output column"),
            (_, None) => (
                "few-cycles",
                "the process value did not swing for a whole cycle after the first",
            ),
            (Some(_), Some(_)) => ("no-output", "the output did not swing"),
        };
        return both(code, text).to_vec();
    };
    if (response.phase_deg - ULTIMATE_DEG).abs() <= NEAR_DEG {
        return Vec::new();
    }
    let text = format!(
        "at the cycle's period the process value lags by {} deg, not by 180: the gain is that of this period, and the ultimate one is another",
        amount(-response.phase_deg)
    );
    vec![Note::new("off-ultimate", "ultimate_gain", text)]
}

fn gap(line: &Stretch, cycles: &Cycles, gaps: Gaps) -> Option<Note> {
    let (from_s, to_s) = (line.t[cycles.first], line.t[cycles.last]);
    let longest_s = gaps.longest_between(line, from_s, to_s)?;
    let text = format!(
        "samples are missing for up to {} within the cycles: a peak may lie there",
        duration(longest_s)
    );
    Some(Note::new("gap", "amplitude", text))
}
