//! `emberline evidence`: the report that shows what a change did to a step.

use std::io::{self, Write};
use std::path::{Path, PathBuf};

use super::before_after;
use super::evidence_json;
use super::reading::{ReadingArgs, When};
use super::whole_file;
use super::{Exit, Stop};
use crate::analysis::GivenStep;
use crate::evidence::{Comparison, Criteria, Side, Verdict, Wanted, pair, render};
use crate::record::{LoopRecord, Source};

/// Before and after: one HTML page that shows what a change did to a setpoint step
///
/// Takes the last setpoint step of each source. Where both are one recording, it takes the last
/// step before the first autotune and the last one like it after the last autotune.
#[derive(Clone, Debug, clap::Args)]
#[command(after_long_help = CRITERIA, after_help = EXAMPLE)]
pub struct EvidenceArgs {
    /// The step before: a recording, a loop's folder in it, or any CSV
    #[arg(long, value_name = "SOURCE")]
    pub before: PathBuf,
    /// The step after; the same recording as before, if that holds both
    #[arg(long, value_name = "SOURCE")]
    pub after: PathBuf,
    /// What the step after must reach; exit code 1 if it does not (--help shows the file)
    #[arg(long, value_name = "FILE")]
    pub criteria: Option<PathBuf>,
    /// The report, an HTML file that needs nothing else
    #[arg(long, value_name = "FILE.html")]
    pub out: PathBuf,
    /// Degrees around the target to settle in; else the criteria's, else the setup's, else 2 % of the step
    #[arg(long, value_name = "DEGREES", value_parser = super::measure::above_zero, allow_negative_numbers = true)]
    pub band: Option<f64>,
    /// Take this episode of the first source, as `emberline measure` counts them
    #[arg(long, value_name = "N")]
    pub before_episode: Option<usize>,
    /// Take this episode of the second source
    #[arg(long, value_name = "N")]
    pub after_episode: Option<usize>,
    /// Where the step went, in a source that has no setpoint
    #[arg(long, value_name = "DEGREES", allow_negative_numbers = true)]
    pub target: Option<f64>,
    /// When it began in such a source: seconds, RFC 3339, or a duration from the start
    #[arg(long, value_name = "TIME", allow_negative_numbers = true)]
    pub step_at: Option<When>,
    /// A summary as one JSON document
    #[arg(long)]
    pub json: bool,
    #[command(flatten)]
    #[expect(
        missing_docs,
        reason = "a doc comment here would become the command's help"
    )]
    pub reading: ReadingArgs,
}

const EXAMPLE: &str = "\
Example:
  emberline evidence --before 2027-03-04_annealer --after 2027-03-04_annealer --out annealer.html";

const CRITERIA: &str = "\
Example:
  emberline evidence --before 2027-03-04_annealer --after 2027-03-04_annealer \\
      --criteria limits.toml --out annealer.html

A criteria file sets at least one limit; all are 'at most':
  schema = 1
  unit = \"degC\"              # optional: else the loop's unit
  band = 2.0                 # optional: degrees about the target that count as settled
  window = \"60 min\"          # optional: the integrals look no further
  overshoot_max = 2.0        # degrees
  overshoot_pct_max = 10.0   # percent of the step
  settling_max = \"20 min\"
  rise_max = \"12 min\"        # from 10 % to 90 % of the step
  final_error_max = 0.5      # degrees, either way
  iae_max = 6000.0           # degree.s";

/// Writes the report about two sources, and tells how it came out.
///
/// Exit code: [`Exit::NotMet`] when criteria were given and are not met, or not shown to be because
/// before and after cannot be compared.
///
/// # Errors
/// A loop or a step that is not there, criteria that cannot be read, a report that cannot be
/// written.
pub fn run(
    args: &EvidenceArgs,
    before: &Source,
    after: &Source,
    out: &mut dyn Write,
) -> Result<Exit, Stop> {
    let before_record = args.reading.only_loop("before", before)?;
    let after_record = args.reading.only_loop("after", after)?;
    let criteria = criteria(args, &after_record)?;
    let one_record = before.name == after.name
        && before_record.name == after_record.name
        && before_record.wall == after_record.wall;
    let wanted = wanted(args, criteria.as_ref(), &before_record, &after_record)?;
    let pair = pair(&before_record, &after_record, one_record, wanted).map_err(wrong_use)?;
    let comparison = Comparison {
        before: Side::new(before, &before_record, &pair.before),
        after: Side::new(after, &after_record, &pair.after),
        criteria: criteria.as_ref(),
    };
    write_report(&args.out, &render(&comparison))?;
    if args.json {
        evidence_json::write(&comparison, &args.out, None, out)?;
    } else {
        before_after::write(&comparison, out)?;
        writeln!(out, "report: {}", args.out.display())?;
    }
    Ok(exit(&comparison))
}

/// Reads both sources, writes the report, and prints what it says.
pub(super) fn command(args: &EvidenceArgs) -> Result<Exit, Stop> {
    let before = args.reading.open(&args.before)?;
    let after = args.reading.open(&args.after)?;
    run(args, &before, &after, &mut io::stdout().lock())
}

fn exit(comparison: &Comparison<'_>) -> Exit {
    let met = comparison.judge().verdict == Verdict::Pass;
    if comparison.criteria.is_some() && !met {
        Exit::NotMet
    } else {
        Exit::Done
    }
}

/// The criteria in the unit of the loop.
fn criteria(args: &EvidenceArgs, record: &LoopRecord) -> Result<Option<Criteria>, Stop> {
    let Some(path) = &args.criteria else {
        return Ok(None);
    };
    let criteria = Criteria::load(path)?;
    let Some(unit) = record.unit.as_deref() else {
        return Ok(Some(criteria));
    };
    let converted = criteria.in_unit(unit).ok_or_else(|| {
        let own = criteria.unit.as_deref().unwrap_or_default();
        wrong_use(format!(
            "{}: its degrees are in {own}, and those of {} in {unit}\n\
             help: write the limits in {unit} and say unit = \"{unit}\", or leave the unit out",
            path.display(),
            record.name
        ))
    })?;
    Ok(Some(converted))
}

fn wanted(
    args: &EvidenceArgs,
    criteria: Option<&Criteria>,
    before: &LoopRecord,
    after: &LoopRecord,
) -> Result<Wanted, Stop> {
    Ok(Wanted {
        before: args.before_episode,
        after: args.after_episode,
        band: args.band.or(criteria.and_then(|criteria| criteria.band)),
        window_s: criteria.and_then(|criteria| criteria.window_s),
        before_given: given(args, before)?,
        after_given: given(args, after)?,
    })
}

fn given(args: &EvidenceArgs, record: &LoopRecord) -> Result<Option<GivenStep>, Stop> {
    let at_s = args.step_at.map(|when| when.seconds(record)).transpose();
    let at_s = at_s.map_err(wrong_use)?;
    let named = at_s.is_some() || args.target.is_some();
    Ok(named.then_some(GivenStep {
        at_s,
        target: args.target,
    }))
}

pub(super) fn write_report(path: &Path, html: &str) -> Result<(), Stop> {
    whole_file::write(path, html.as_bytes()).map_err(|error| {
        let text = format!(
            "{}: the report could not be written: {error}\n\
             help: give --out a file in a folder that exists and may be written to",
            path.display()
        );
        Stop::new(Exit::Files, text)
    })
}

fn wrong_use(text: impl std::fmt::Display) -> Stop {
    Stop::new(Exit::WrongUse, text)
}
