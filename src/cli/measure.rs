//! `emberline measure`: the episodes of a record and their numbers.

use std::io::{self, Write};
use std::path::PathBuf;

use chrono::SecondsFormat;
use serde::Serialize;

use super::measure_text;
use super::reading::{ReadingArgs, When};
use super::{Exit, Stop};
use crate::analysis::{
    AnalysisError, Episode, EpisodeKind, GivenStep, Note, Options, StepNumbers, find_episodes,
};
use crate::record::{LoopRecord, Source};

/// What the loop did: episodes and their numbers
///
/// Finds setpoint steps, autotunes, ramps and holds, and works out overshoot, rise, settling and
/// the integral criteria of every step.
#[derive(Clone, Debug, clap::Args)]
#[command(after_help = EXAMPLES)]
pub struct MeasureArgs {
    /// A recording, a loop's folder in it, or any CSV
    pub source: PathBuf,
    /// Degrees around the target to settle in; else the setup's, else 2 % of the step
    #[arg(long, value_name = "DEGREES", value_parser = above_zero, allow_negative_numbers = true)]
    pub band: Option<f64>,
    /// Where a step went that the record does not show
    #[arg(long, value_name = "DEGREES", allow_negative_numbers = true)]
    pub target: Option<f64>,
    /// When it began: seconds, RFC 3339, or a duration from the start; else the record's beginning
    #[arg(long, value_name = "TIME", allow_negative_numbers = true)]
    pub step_at: Option<When>,
    /// Only this episode of those listed
    #[arg(long, value_name = "N")]
    pub episode: Option<usize>,
    /// One JSON document
    #[arg(long)]
    pub json: bool,
    #[command(flatten)]
    #[expect(
        missing_docs,
        reason = "a doc comment here would become the command's help"
    )]
    pub reading: ReadingArgs,
}

const EXAMPLES: &str = "\
Examples:
  emberline measure 2027-03-04T06-00-00Z_annealer --band 2
  emberline measure oven.csv --time Clock --pv 'Zone 1' --step-at 120 --target 510";

pub(super) fn above_zero(text: &str) -> Result<f64, String> {
    let value = text
        .parse()
        .ok()
        .filter(|v: &f64| v.is_finite() && *v > 0.0);
    value.ok_or_else(|| "a band is a number of degrees above 0".to_owned())
}

/// Why nothing could be measured.
#[derive(Debug, thiserror::Error)]
pub enum MeasureError {
    /// What was asked for cannot be done; what and what to do, in words.
    #[error("{0}")]
    WrongUse(String),
    /// The result could not be written.
    #[error(transparent)]
    Output(#[from] io::Error),
}

impl From<AnalysisError> for MeasureError {
    fn from(error: AnalysisError) -> Self {
        Self::WrongUse(error.to_string())
    }
}

/// One loop and what it did.
pub(super) struct MeasuredLoop<'a> {
    pub(super) record: &'a LoopRecord,
    /// The episodes that are shown, with their numbers in the list, counted from 1.
    pub(super) episodes: Vec<(usize, Episode)>,
}

/// The command: reads the source, measures it, writes to standard output.
pub(super) fn command(args: &MeasureArgs) -> Result<Exit, Stop> {
    let source = args.reading.open(&args.source)?;
    match run(args, &source, &mut io::stdout().lock()) {
        Ok(()) => Ok(Exit::Done),
        Err(MeasureError::Output(error)) => Err(error.into()),
        Err(wrong) => Err(Stop::new(Exit::WrongUse, wrong)),
    }
}

/// Measures `source` and writes the result as text or JSON.
///
/// # Errors
/// A loop, an episode or a step that is not there, and failures to write.
pub fn run(args: &MeasureArgs, source: &Source, out: &mut dyn Write) -> Result<(), MeasureError> {
    let records = args
        .reading
        .choose(source)
        .map_err(MeasureError::WrongUse)?;
    let mut loops = Vec::new();
    for record in &records {
        loops.push(MeasuredLoop {
            episodes: episodes(args, record)?,
            record,
        });
    }
    if let (Some(number), true) = (
        args.episode,
        loops.iter().all(|one| one.episodes.is_empty()),
    ) {
        return Err(MeasureError::WrongUse(format!(
            "{} has no episode {number}\nhelp: leave out --episode to list them all",
            source.name
        )));
    }
    if args.json {
        write_json(&source.name, &loops, out)?;
    } else {
        measure_text::write(&source.name, &loops, args.episode.is_some(), out)?;
    }
    Ok(())
}

fn episodes(
    args: &MeasureArgs,
    record: &LoopRecord,
) -> Result<Vec<(usize, Episode)>, MeasureError> {
    let given = given(args, record).map_err(MeasureError::WrongUse)?;
    let options = Options {
        band: args.band.or(record.band),
        min_step: None,
        given,
        other_changes_s: record.control_changes_s(),
    };
    let found = find_episodes(&record.trace(), &options)?;
    let numbered = (1..).zip(found);
    let wanted = |number: usize| args.episode.is_none_or(|only| only == number);
    Ok(numbered.filter(|(number, _)| wanted(*number)).collect())
}

fn given(args: &MeasureArgs, record: &LoopRecord) -> Result<Option<GivenStep>, String> {
    let at_s = args.step_at.map(|when| when.seconds(record)).transpose()?;
    let named = at_s.is_some() || args.target.is_some();
    Ok(named.then_some(GivenStep {
        at_s,
        target: args.target,
    }))
}

#[derive(Serialize)]
struct Document<'a> {
    source: &'a str,
    loops: Vec<LoopObject<'a>>,
}

#[derive(Serialize)]
struct LoopObject<'a> {
    #[serde(rename = "loop")]
    name: &'a str,
    unit: Option<&'a str>,
    episodes: Vec<EpisodeObject<'a>>,
}

#[derive(Serialize)]
struct EpisodeObject<'a> {
    kind: EpisodeKind,
    start: Option<String>,
    start_s: f64,
    end_s: f64,
    from: Option<f64>,
    to: Option<f64>,
    #[serde(flatten)]
    numbers: &'a StepNumbers,
    notes: &'a [Note],
}

fn write_json(source: &str, loops: &[MeasuredLoop<'_>], out: &mut dyn Write) -> io::Result<()> {
    let document = Document {
        source,
        loops: loops.iter().map(loop_object).collect(),
    };
    serde_json::to_writer(&mut *out, &document)?;
    writeln!(out)
}

fn loop_object<'a>(measured: &'a MeasuredLoop<'a>) -> LoopObject<'a> {
    let record = measured.record;
    let object = |episode: &'a Episode| EpisodeObject {
        kind: episode.kind,
        start: record
            .wall_time(episode.start_s)
            .map(|time| time.to_rfc3339_opts(SecondsFormat::Millis, true)),
        start_s: episode.start_s,
        end_s: episode.end_s,
        from: episode.from,
        to: episode.to,
        numbers: &episode.numbers,
        notes: &episode.notes,
    };
    LoopObject {
        name: &record.name,
        unit: record.unit.as_deref(),
        episodes: measured
            .episodes
            .iter()
            .map(|(_, episode)| object(episode))
            .collect(),
    }
}
