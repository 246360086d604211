//! The summary of a report for programs.

use std::io::{self, Write};
use std::path::Path;

use serde::Serialize;

use crate::analysis::{Note, StepNumbers};
use crate::evidence::{Comparison, Outcome, Side};

#[derive(Serialize)]
struct Document<'a> {
    report: String,
    /// The recording of a demo.
    #[serde(skip_serializing_if = "Option::is_none")]
    recording: Option<String>,
    #[serde(rename = "loop")]
    name: &'a str,
    unit: Option<&'a str>,
    verdict: &'static str,
    text: String,
    before: SideObject<'a>,
    after: SideObject<'a>,
    criteria: Vec<CriterionObject>,
    /// Why before and after are not the same test.
    notes: &'a [Note],
}

#[derive(Serialize)]
pub(super) struct SideObject<'a> {
    source: &'a str,
    start_s: f64,
    end_s: f64,
    from: Option<f64>,
    to: Option<f64>,
    #[serde(flatten)]
    numbers: &'a StepNumbers,
    notes: &'a [Note],
}

#[derive(Serialize)]
struct CriterionObject {
    name: &'static str,
    limit: f64,
    measured: Option<f64>,
    lower_bound: bool,
    met: bool,
}

/// Writes one JSON document on a line of its own; times in seconds, degrees in the loop's unit.
pub(super) fn write(
    comparison: &Comparison<'_>,
    report: &Path,
    recording: Option<&Path>,
    out: &mut dyn Write,
) -> io::Result<()> {
    let judgement = comparison.judge();
    let document = Document {
        report: report.display().to_string(),
        recording: recording.map(|path| path.display().to_string()),
        name: &comparison.after.record.name,
        unit: comparison.after.record.unit.as_deref(),
        verdict: judgement.verdict.word(),
        text: judgement.reason(),
        before: side_object(&comparison.before),
        after: side_object(&comparison.after),
        criteria: judgement.outcomes.iter().map(criterion).collect(),
        notes: &judgement.obstacles,
    };
    serde_json::to_writer(&mut *out, &document)?;
    writeln!(out)
}

/// One of the two steps.
pub(super) fn side_object<'a>(side: &Side<'a>) -> SideObject<'a> {
    let episode = side.episode;
    SideObject {
        source: side.source,
        start_s: episode.start_s,
        end_s: episode.end_s,
        from: episode.from,
        to: episode.to,
        numbers: &episode.numbers,
        notes: &episode.notes,
    }
}

fn criterion(outcome: &Outcome) -> CriterionObject {
    CriterionObject {
        name: outcome.limit.measure.key(),
        limit: outcome.limit.most,
        measured: outcome.measured,
        lower_bound: outcome.lower_bound,
        met: outcome.met,
    }
}
