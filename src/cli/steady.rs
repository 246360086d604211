//! `emberline steady`: how steady a loop was.

use std::io::{self, Write};
use std::path::PathBuf;
use std::time::Duration;

use chrono::{DateTime, Utc};

use super::measure::above_zero;
use super::reading::ReadingArgs;
use super::{Exit, Stop, steady_csv, steady_json, steady_text};
use crate::analysis::{Steadiness, Steady, SteadyOptions, SteadySample};
use crate::record::{OpenLoop, OpenSource, RecordedSample, RowCounts, WallClock};

/// How steady a loop was: spread, time in band, drift, cycles, hours and days
///
/// Of a record with a setpoint only holds count: from when the loop has settled to the next change.
/// Reads as it goes: a year takes no more memory than a day.
#[derive(Clone, Debug, clap::Args)]
#[command(after_help = EXAMPLES)]
pub struct SteadyArgs {
    /// A recording, a loop's folder in it, or any CSV
    pub source: PathBuf,
    /// Degrees around the setpoint that are in band; else the setup's
    #[arg(long, value_name = "DEGREES", value_parser = above_zero, allow_negative_numbers = true)]
    pub band: Option<f64>,
    /// Everything counts, around this value; without it only holds count, around their setpoint
    #[arg(long, value_name = "DEGREES", value_parser = number, allow_negative_numbers = true)]
    pub around: Option<f64>,
    /// Cycle time of a switched output, for the relay's operations a day; else the settings'
    #[arg(long, value_name = "TIME", value_parser = some_time)]
    pub cycle_time: Option<Duration>,
    /// Operations the relay is made for, for its expected life
    #[arg(long, value_name = "OPERATIONS", value_parser = operations, allow_negative_numbers = true)]
    pub relay_life: Option<f64>,
    /// One JSON document
    #[arg(long)]
    pub json: bool,
    /// A table as CSV: the figures (one row a loop), or another one
    #[arg(
        long, value_name = "TABLE", value_enum, conflicts_with = "json",
        num_args = 0..=1, require_equals = true, default_missing_value = "figures"
    )]
    pub csv: Option<Table>,
    #[command(flatten)]
    #[expect(
        missing_docs,
        reason = "a doc comment here would become the command's help"
    )]
    pub reading: ReadingArgs,
}

const EXAMPLES: &str = "\
Exit code 1: nothing counts, because there is no hold of more than five minutes.

Examples:
  emberline steady 2027-03-04T06-00-00Z_annealer
  emberline steady 2027-03-04T06-00-00Z_annealer --from 1d --band 1.5 --cycle-time 20s --relay-life 100000
  emberline steady oven.csv --time Clock --pv 'Zone 1' --around 510 --band 2 --csv=days";

/// A table that `--csv` writes.
#[derive(Clone, Copy, Debug, PartialEq, Eq, clap::ValueEnum)]
pub enum Table {
    /// One row a loop.
    Figures,
    /// One row a UTC day.
    Days,
    /// One row an hour of the day, UTC.
    Hours,
    /// One row a time outside the band.
    Excursions,
    /// One row an averaging time.
    Allan,
}

fn number(text: &str) -> Result<f64, String> {
    let value = text.parse().ok().filter(|v: &f64| v.is_finite());
    value.ok_or_else(|| "a temperature is a number of degrees".to_owned())
}

fn operations(text: &str) -> Result<f64, String> {
    let value = text
        .parse()
        .ok()
        .filter(|v: &f64| v.is_finite() && *v >= 1.0);
    value.ok_or_else(|| "a relay's life is a number of operations, as in 100000".to_owned())
}

pub(super) fn some_time(text: &str) -> Result<Duration, String> {
    let time = humantime::parse_duration(text).ok();
    let time = time.filter(|time| !time.is_zero());
    time.ok_or_else(|| "a cycle time is longer than nothing, as in 20s".to_owned())
}

/// One loop and how steady it was.
pub(super) struct SteadyLoop {
    pub(super) name: String,
    pub(super) unit: Option<String>,
    pub(super) wall: Option<WallClock>,
    pub(super) rows: RowCounts,
    pub(super) steady: Steady,
}

impl SteadyLoop {
    /// Wall time of a moment, where it is known.
    pub(super) fn wall_time(&self, time_s: f64) -> Option<DateTime<Utc>> {
        self.wall.as_ref()?.at(time_s)
    }
}

/// The command: reads the source as it goes, writes to standard output.
pub(super) fn command(args: &SteadyArgs) -> Result<Exit, Stop> {
    let source = args.reading.open_rows(&args.source)?;
    run(args, &source, &mut io::stdout().lock())
}

/// Works out how steady the loops of `source` were, and writes the result as text, JSON or CSV.
///
/// # Errors
/// A damaged row, wall time where there is none, and failures to write.
pub fn run(args: &SteadyArgs, source: &OpenSource, out: &mut dyn Write) -> Result<Exit, Stop> {
    let mut loops = Vec::new();
    for one in &source.loops {
        loops.push(steady(args, one)?);
    }
    match args.csv {
        _ if args.json => steady_json::write(&source.name, &loops, out)?,
        Some(table) => steady_csv::write(table, &loops, out)?,
        None => steady_text::write(&source.name, &loops, out)?,
    }
    let counts = |one: &SteadyLoop| one.steady.count > 0;
    Ok(if loops.iter().any(counts) {
        Exit::Done
    } else {
        Exit::NotMet
    })
}

fn steady(args: &SteadyArgs, one: &OpenLoop) -> Result<SteadyLoop, Stop> {
    let wrong_use = |text: String| Stop::new(Exit::WrongUse, text);
    let (from_s, to_s) = args.reading.ends(one).map_err(wrong_use)?;
    let asked = args.cycle_time.map(|time| time.as_secs_f64());
    let mut steadiness = Steadiness::new(SteadyOptions {
        band: args.band.or(one.band),
        around: args.around,
        min_step: None,
        cycle_time_s: asked.or_else(|| one.cycle_time_s()),
        relay_life: args.relay_life,
        other_changes_s: one.changes_s()?,
        wall: one.wall.as_ref().map_or_else(Vec::new, wall),
    });
    let mut samples = one.samples();
    for block in &mut samples {
        for row in block?
            .iter()
            .filter(|it| it.time_s >= from_s && it.time_s <= to_s)
        {
            steadiness.push(&sample(row));
        }
    }
    Ok(SteadyLoop {
        name: one.name.clone(),
        unit: one.unit.clone(),
        wall: one.wall.clone(),
        rows: samples.counts().clone(),
        steady: steadiness.finish(),
    })
}

fn sample(row: &RecordedSample) -> SteadySample {
    SteadySample {
        time_s: row.time_s,
        pv: row.pv,
        setpoint: row.setpoint,
        output: row.output,
        autotune: row.autotune,
    }
}

/// From when on, and what makes seconds since 1970 of a record's seconds.
fn wall(clock: &WallClock) -> Vec<(f64, f64)> {
    let first = (0.0, clock.began);
    let all = std::iter::once(first).chain(clock.steps.iter().copied());
    all.map(|(from_s, time)| (from_s, time.timestamp_millis() as f64 / 1000.0 - from_s))
        .collect()
}
