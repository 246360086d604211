//! `emberline measure`: the episodes of a record and their numbers.

use std::io::{self, Write};
use std::path::PathBuf;
use std::time::Duration;

use chrono::SecondsFormat;
use serde::Serialize;

use super::reading::{ReadingArgs, When};
use super::{Exit, Stop};
use super::{against, json_rows, measure_text};
use crate::analysis::{
    AnalysisError, Diagnosis, Episode, EpisodeKind, GivenStep, Known, Note, Options, OwnNumbers,
    StepNumbers, diagnose, find_episodes,
};
use crate::record::{LoopRecord, Source};

/// What the loop did: episodes and their numbers
///
/// Finds setpoint steps, ramps, output steps, autotunes, disturbances and holds, and works out the
/// numbers of each: overshoot, rise, settling and the integral criteria of every step.
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
    /// The same step in another source, after a change: both side by side
    #[arg(long, value_name = "SOURCE")]
    pub against: Option<PathBuf>,
    /// Take this episode of that source
    #[arg(long, value_name = "N", requires = "against")]
    pub against_episode: Option<usize>,
    /// The output's cycle time, to know its switching in the process value; else the settings'
    #[arg(long, value_name = "TIME", value_parser = super::steady::some_time)]
    pub cycle_time: Option<Duration>,
    /// One JSON document
    #[arg(long)]
    pub json: bool,
    /// One row an episode, as CSV
    #[arg(long, conflicts_with_all = ["json", "against"])]
    pub csv: bool,
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
  emberline measure oven.csv --time Clock --pv 'Zone 1' --step-at 120 --target 510
  emberline measure before.csv --against after.csv";

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
    /// What all of it looks like.
    pub(super) diagnoses: Vec<Diagnosis>,
}

/// The command: reads the source, measures it, writes to standard output.
pub(super) fn command(args: &MeasureArgs) -> Result<Exit, Stop> {
    let source = args.reading.open(&args.source)?;
    let mut out = io::stdout().lock();
    if let Some(other) = &args.against {
        return against::compare(args, &source, &args.reading.open(other)?, &mut out);
    }
    match run(args, &source, &mut out) {
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
        loops.push(MeasuredLoop::of(args, record)?);
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
    } else if args.csv {
        let rows = loops.iter().flat_map(MeasuredLoop::rows);
        json_rows::write(rows, out)?;
    } else {
        measure_text::write(&source.name, &loops, args.episode.is_some(), out)?;
    }
    Ok(())
}

impl<'a> MeasuredLoop<'a> {
    fn of(args: &MeasureArgs, record: &'a LoopRecord) -> Result<Self, MeasureError> {
        let given = given(args, record).map_err(MeasureError::WrongUse)?;
        let trace = record.trace();
        let found = find_episodes(&trace, &options(args, record, given))?;
        let asked = args.cycle_time.map(|time| time.as_secs_f64());
        let known = Known {
            cycle_time_s: asked.or_else(|| record.cycle_time_s()),
        };
        let diagnoses = diagnose(&trace, &found, known);
        let wanted = |number: usize| args.episode.is_none_or(|only| only == number);
        let numbered = (1..).zip(found);
        Ok(Self {
            record,
            episodes: numbered.filter(|(number, _)| wanted(*number)).collect(),
            diagnoses,
        })
    }

    fn objects(&self) -> impl Iterator<Item = EpisodeObject<'_>> {
        self.episodes
            .iter()
            .map(|(_, episode)| EpisodeObject::of(self.record, episode))
    }

    fn rows(&self) -> impl Iterator<Item = EpisodeRow<'_>> {
        let numbers = self.episodes.iter().map(|(number, _)| *number);
        numbers
            .zip(self.objects())
            .map(|(episode, object)| EpisodeRow {
                name: &self.record.name,
                unit: self.record.unit.as_deref(),
                episode,
                object,
            })
    }
}

/// What is known of a record and what a person has said.
pub(super) fn options(
    args: &MeasureArgs,
    record: &LoopRecord,
    given: Option<GivenStep>,
) -> Options {
    Options {
        band: args.band.or(record.band),
        min_step: None,
        given,
        told: record.told(),
    }
}

/// The step that a person named, if any.
pub(super) fn given(args: &MeasureArgs, record: &LoopRecord) -> Result<Option<GivenStep>, String> {
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
    diagnosis: &'a [Diagnosis],
}

#[derive(Serialize)]
struct EpisodeRow<'a> {
    #[serde(rename = "loop")]
    name: &'a str,
    unit: Option<&'a str>,
    episode: usize,
    #[serde(flatten)]
    object: EpisodeObject<'a>,
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
    #[serde(flatten)]
    own: &'a OwnNumbers,
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
    LoopObject {
        name: &measured.record.name,
        unit: measured.record.unit.as_deref(),
        episodes: measured.objects().collect(),
        diagnosis: &measured.diagnoses,
    }
}

impl<'a> EpisodeObject<'a> {
    fn of(record: &LoopRecord, episode: &'a Episode) -> Self {
        Self {
            kind: episode.kind,
            start: record
                .wall_time(episode.start_s)
                .map(|time| time.to_rfc3339_opts(SecondsFormat::Millis, true)),
            start_s: episode.start_s,
            end_s: episode.end_s,
            from: episode.from,
            to: episode.to,
            numbers: &episode.numbers,
            own: &episode.own,
            notes: &episode.notes,
        }
    }
}
