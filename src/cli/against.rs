//! `emberline measure BEFORE --against AFTER`: the same step before and after a change.

use std::io::{self, Write};

use serde::Serialize;

use super::before_after;
use super::evidence_json::{SideObject, side_object};
use super::measure::{MeasureArgs, given, options};
use super::{Exit, Stop};
use crate::analysis::{
    AnalysisError, Episode, Note, StepNumbers, chance_of_difference, find_episodes, over_window,
};
use crate::evidence::{Comparison, Side, Wanted, pair};
use crate::figures::{amount, duration, fixed};
use crate::record::{LoopRecord, Source};

/// A difference less likely than this by chance counts as shown. Common practice, no source.
const SHOWN: f64 = 0.05;

/// Several runs of one step on both sides, over the shortest window of them all.
struct Runs {
    window_s: f64,
    before: Vec<StepNumbers>,
    after: Vec<StepNumbers>,
}

/// Takes one number out of all.
type Number = fn(&StepNumbers) -> Option<f64>;

/// One number of all runs, and whether it differs.
#[derive(Serialize)]
struct Test {
    number: &'static str,
    before: Vec<Option<f64>>,
    after: Vec<Option<f64>>,
    /// How likely runs that do not differ fall apart as far.
    chance: Option<f64>,
}

/// Compares `source` with the source of `--against`, and writes both side by side.
pub(super) fn compare(
    args: &MeasureArgs,
    source: &Source,
    other: &Source,
    out: &mut dyn Write,
) -> Result<Exit, Stop> {
    let before = args.reading.only_loop("before", source)?;
    let after = args.reading.only_loop("after", other)?;
    let one_record =
        source.name == other.name && before.name == after.name && before.wall == after.wall;
    let wanted = Wanted {
        before: args.episode,
        after: args.against_episode,
        band: args.band,
        window_s: None,
        before_given: given(args, &before).map_err(wrong_use)?,
        after_given: given(args, &after).map_err(wrong_use)?,
    };
    let pair = pair(&before, &after, one_record, wanted).map_err(wrong_use)?;
    let comparison = Comparison {
        before: Side::new(source, &before, &pair.before),
        after: Side::new(other, &after, &pair.after),
        criteria: None,
    };
    let runs = Runs::of(args, &comparison, one_record).map_err(wrong_use)?;
    if args.json {
        write_json(&comparison, &runs, out)?;
    } else {
        write_text(&comparison, &runs, out)?;
    }
    Ok(Exit::Done)
}

fn wrong_use(text: impl std::fmt::Display) -> Stop {
    Stop::new(Exit::WrongUse, text)
}

impl Runs {
    /// Every step like the two that are compared: in one record those up to the one before, and those
    /// behind the last autotune; in two records all of each.
    fn of(
        args: &MeasureArgs,
        comparison: &Comparison<'_>,
        one_record: bool,
    ) -> Result<Self, AnalysisError> {
        let (first, second) = (comparison.before, comparison.after);
        let mut before = alike(args, first)?;
        let mut after = alike(args, second)?;
        if one_record {
            let tuned_s =
                find_episodes(&second.record.trace(), &options(args, second.record, None))?
                    .iter()
                    .filter(|it| it.kind == crate::analysis::EpisodeKind::Autotune)
                    .map(|it| it.start_s)
                    .fold(first.episode.start_s, f64::max);
            before.retain(|it| it.start_s <= first.episode.start_s);
            let behind =
                |it: &Episode| it.start_s > tuned_s || it.start_s >= second.episode.start_s;
            after.retain(behind);
        }
        let length = |it: &Episode| it.end_s - it.start_s;
        let window_s = before
            .iter()
            .chain(&after)
            .map(length)
            .fold(f64::INFINITY, f64::min);
        let numbers = |record: &LoopRecord, runs: &[Episode]| {
            let trace = record.trace();
            runs.iter()
                .map(|run| over_window(&trace, run, window_s))
                .collect()
        };
        Ok(Self {
            window_s,
            before: numbers(first.record, &before),
            after: numbers(second.record, &after),
        })
    }

    fn tests(&self) -> Vec<Test> {
        let numbers: [(&'static str, Number); 3] = [
            ("overshoot", |it| it.overshoot),
            ("settling_s", |it| it.settling_s),
            ("iae", |it| it.iae),
        ];
        let test = |(number, of): (&'static str, Number)| {
            let values = |runs: &[StepNumbers]| runs.iter().map(of).collect::<Vec<_>>();
            let (before, after) = (values(&self.before), values(&self.after));
            // What was not reached is more than anything that was.
            let ranked = |values: &[Option<f64>]| -> Vec<f64> {
                values
                    .iter()
                    .map(|it| it.unwrap_or(f64::INFINITY))
                    .collect()
            };
            Test {
                chance: chance_of_difference(&ranked(&before), &ranked(&after)),
                number,
                before,
                after,
            }
        };
        numbers.map(test).into()
    }
}

/// The steps of a record from and to the same setpoints.
fn alike(args: &MeasureArgs, side: Side<'_>) -> Result<Vec<Episode>, AnalysisError> {
    let given = given(args, side.record).ok().flatten();
    let all = find_episodes(&side.record.trace(), &options(args, side.record, given))?;
    let is_like = |it: &Episode| it.is_like(side.episode);
    Ok(all.into_iter().filter(is_like).collect())
}

#[derive(Serialize)]
struct Document<'a> {
    source: &'a str,
    against: &'a str,
    #[serde(rename = "loop")]
    name: &'a str,
    unit: Option<&'a str>,
    verdict: &'static str,
    text: String,
    before: SideObject<'a>,
    after: SideObject<'a>,
    not_comparable: &'a [Note],
    runs: RunsObject,
}

#[derive(Serialize)]
struct RunsObject {
    before: usize,
    after: usize,
    window_s: f64,
    tests: Vec<Test>,
}

fn write_json(comparison: &Comparison<'_>, runs: &Runs, out: &mut dyn Write) -> io::Result<()> {
    let judgement = comparison.judge();
    let document = Document {
        source: comparison.before.source,
        against: comparison.after.source,
        name: &comparison.after.record.name,
        unit: comparison.after.record.unit.as_deref(),
        verdict: judgement.verdict.word(),
        text: judgement.reason(),
        before: side_object(&comparison.before),
        after: side_object(&comparison.after),
        not_comparable: &judgement.obstacles,
        runs: RunsObject {
            before: runs.before.len(),
            after: runs.after.len(),
            window_s: runs.window_s,
            tests: runs.tests(),
        },
    };
    serde_json::to_writer(&mut *out, &document)?;
    writeln!(out)
}

fn write_text(comparison: &Comparison<'_>, runs: &Runs, out: &mut dyn Write) -> io::Result<()> {
    before_after::write(comparison, out)?;
    writeln!(out)?;
    let (before, after) = (runs.before.len(), runs.after.len());
    if before < 2 || after < 2 {
        let text = format!(
            "Runs of this step: {before} before, {after} after. That shows a difference, not that it would come again: make the same step four times before and four times after."
        );
        return super::wrapped::write("", &text, out);
    }
    writeln!(
        out,
        "{:<22}{:>20}{:>20}{:>10}",
        format!("{before} runs, {after} runs"),
        "before",
        "after",
        "chance"
    )?;
    for test in runs.tests() {
        let chance = test
            .chance
            .map_or_else(|| "\u{2013}".to_owned(), |it| fixed(it, 3));
        writeln!(
            out,
            "  {:<20}{:>20}{:>20}{chance:>10}",
            label(test.number),
            range(&test.before, test.number),
            range(&test.after, test.number),
        )?;
    }
    let text = format!(
        "All over {}. Chance: how likely runs that do not differ fall so far apart (exact rank-sum test); under {SHOWN} the difference is shown.",
        duration(runs.window_s)
    );
    super::wrapped::write("", &text, out)
}

fn label(number: &str) -> &'static str {
    match number {
        "overshoot" => "overshoot",
        "settling_s" => "settling time",
        _ => "IAE",
    }
}

/// From the least to the greatest.
fn range(values: &[Option<f64>], number: &str) -> String {
    let text = |value: f64| match (value.is_finite(), number) {
        (false, _) => "never".to_owned(),
        (true, "settling_s") => duration(value),
        (true, _) => amount(value),
    };
    let ranked = || values.iter().map(|it| it.unwrap_or(f64::INFINITY));
    let least = ranked().fold(f64::INFINITY, f64::min);
    let greatest = ranked().fold(f64::NEG_INFINITY, f64::max);
    if text(least) == text(greatest) {
        return text(least);
    }
    format!("{} to {}", text(least), text(greatest))
}
