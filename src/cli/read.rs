//! `emberline read`: one poll of every point.

use std::collections::{BTreeMap, BTreeSet};
use std::io::{self, Write};
use std::path::PathBuf;
use std::time::Duration;

use chrono::SecondsFormat;
use clap::Args;
use serde_json::{Value, json};

use super::degrees::degrees;
use super::health::{health_json, note_json, tell_advice};
use super::lines::{Lines, ReadThrough};
use super::listening::ListenArgs;
use super::running::runtime;
use super::target::Target;
use super::{Exit, Stop};
use crate::clock::{Clock, Stamp};
use crate::line::{LoopSeen, Seen};
use crate::map::{Map, Point, Remark};
use crate::name::Name;
use crate::notice::{Advice, Exchanges, advise};
use crate::sample::{Reading, Why};
use crate::setup::{LoopSetup, Setup};
use crate::signals::asked_to_end;
use crate::unit::{Degrees, in_degrees};

/// So many remarks of one kind are told in full.
const ENOUGH: usize = 3;
/// Pause between the readings of --repeat.
const AGAIN: Duration = Duration::from_secs(1);

/// Read every point of every loop once
///
/// Where another emberline polls the line, that one is asked to read it at once.
///
/// Examples:
///   emberline read oven.toml --loop annealer-top
///   emberline read oven.toml --listen-only      where a panel or a PLC already polls the units
#[derive(Debug, Args)]
#[command(verbatim_doc_comment)]
pub(super) struct ReadArgs {
    /// The setup file, or a recording's folder: then what it is made with.
    source: PathBuf,
    /// Only this loop.
    #[arg(long = "loop", value_name = "NAME")]
    only: Option<Name>,
    /// Again every second until Ctrl-C.
    #[arg(long)]
    repeat: bool,
    /// Temperatures in degC, degF or K.
    #[arg(long = "in", value_name = "UNIT", value_parser = degrees)]
    shown_in: Option<Degrees>,
    /// One JSON document for each reading.
    #[arg(long)]
    json: bool,
    #[command(flatten)]
    listen: ListenArgs,
    /// How long to listen at most, until every trend point was heard.
    #[arg(long, value_name = "DURATION", default_value = "10s", requires = "listen_only", value_parser = humantime::parse_duration)]
    listen_for: Duration,
}

pub(super) fn run(args: &ReadArgs) -> Result<Exit, Stop> {
    let target = Target::load(&args.source)?;
    let setup = target.setup();
    let loops = chosen(setup, args.only.as_ref())?;
    runtime()?.block_on(async {
        let clock = Clock::of_this_machine();
        let mut lines = Lines::open(setup, &loops, &args.listen).await?;
        loop {
            let mut seen = if args.listen.listen_only {
                lines.hear_all(&loops, args.listen_for).await
            } else {
                lines.read_all(&loops).await?
            };
            if let Some(degrees) = args.shown_in {
                for seen in &mut seen {
                    convert(seen, degrees);
                }
            }
            tell(&seen, &lines.notes(&seen), clock.now(), args.json)?;
            if !args.repeat {
                return Ok(verdict(&seen));
            }
            tokio::select! {
                () = tokio::time::sleep(AGAIN) => {}
                _ = asked_to_end() => return Ok(verdict(&seen)),
            }
        }
    })
}

/// The loops a person chose.
pub(super) fn chosen(setup: &Setup, only: Option<&Name>) -> Result<Vec<LoopSetup>, Stop> {
    let loops: Vec<LoopSetup> = setup
        .loops
        .iter()
        .filter(|the_loop| only.is_none_or(|name| *name == the_loop.name))
        .cloned()
        .collect();
    if loops.is_empty() {
        let names: Vec<&str> = setup
            .loops
            .iter()
            .map(|the_loop| the_loop.name.as_str())
            .collect();
        let only = only.map(Name::to_string).unwrap_or_default();
        let text = format!(
            "there is no loop '{only}' in this setup\nhelp: its loops are {}",
            names.join(", ")
        );
        return Err(Stop::new(Exit::WrongUse, text));
    }
    Ok(loops)
}

/// Turns temperatures into this unit; raw words, and what is remarked about them, stay.
fn convert((the_loop, seen): &mut (&LoopSetup, LoopSeen), degrees: Degrees) {
    for (point, seen) in the_loop.map.points.iter().zip(&mut seen.points) {
        let (Reading::Good(number), Some(unit)) = (&mut seen.reading, &seen.unit) else {
            continue;
        };
        if let Some((shown, unit)) = in_degrees(*number, unit, degrees, point.quantity) {
            *number = shown;
            seen.unit = Some(unit.into());
        }
    }
}

fn tell(
    seen: &[(&LoopSetup, LoopSeen)],
    through: &[ReadThrough],
    now: Stamp,
    json: bool,
) -> Result<(), Stop> {
    let mut out = io::stdout().lock();
    let time = now.time.to_rfc3339_opts(SecondsFormat::Millis, true);
    if json {
        let loops: Vec<Value> = seen
            .iter()
            .map(|(the_loop, seen)| loop_json(&the_loop.map, seen, &time))
            .collect();
        let advice = advice_on(seen);
        let notes = through.iter().map(ReadThrough::json);
        let notes: Vec<Value> = notes.chain(advice.iter().map(note_json)).collect();
        writeln!(out, "{}", json!({ "loops": loops, "notes": notes }))?;
    } else {
        for (the_loop, seen) in seen {
            writeln!(
                out,
                "{}  unit {}  {}",
                the_loop.name,
                the_loop.unit.get(),
                the_loop.map.title
            )?;
            for line in table(&the_loop.map, seen) {
                writeln!(out, "{}", line.trim_end())?;
            }
        }
    }
    out.flush()?;
    if !json {
        through.iter().for_each(ReadThrough::tell);
        tell_remarks(seen);
    }
    tell_failures(seen);
    Ok(())
}

/// Says what looks wrong about what came; where many points have the same, some are enough.
fn tell_remarks(seen: &[(&LoopSetup, LoopSeen)]) {
    let mut err = io::stderr().lock();
    for (_, seen) in seen {
        let mut alike: BTreeMap<&str, Vec<&Remark>> = BTreeMap::new();
        for remark in &seen.remarks {
            alike.entry(remark.code).or_default().push(remark);
        }
        for remarks in alike.values() {
            let shown = if remarks.len() > ENOUGH + 1 {
                ENOUGH
            } else {
                remarks.len()
            };
            for Remark { about, text, .. } in &remarks[..shown] {
                // A courtesy; a closed standard error stops nothing.
                let _ = writeln!(err, "{} {about}: {text}", seen.name);
            }
            let others: Vec<&str> = remarks[shown..]
                .iter()
                .map(|it| it.about.as_str())
                .collect();
            if !others.is_empty() {
                let _ = writeln!(err, "{}: likewise {}", seen.name, others.join(", "));
            }
        }
    }
}

/// Says what did not come, and each way out once: a pattern's where there is one.
fn tell_failures(seen: &[(&LoopSetup, LoopSeen)]) {
    let advice = advice_on(seen);
    let mut err = io::stderr().lock();
    for (_, seen) in seen {
        let is_advised = advice.iter().any(|one| one.loops.contains(&seen.name));
        let mut failures = seen.failures.iter().peekable();
        while let Some(failure) = failures.next() {
            let (what, help) = failure.split_once('\n').unwrap_or((failure, ""));
            let is_last = failures.peek().is_none_or(|next| !next.ends_with(help));
            // A courtesy; a closed standard error stops nothing.
            let _ = writeln!(err, "{what}");
            if is_last && !is_advised {
                let _ = writeln!(err, "{help}");
            }
        }
    }
    drop(err);
    advice.iter().for_each(tell_advice);
}

/// What to check about the lines that were read.
fn advice_on(seen: &[(&LoopSetup, LoopSeen)]) -> Vec<Advice> {
    let lines: BTreeSet<&Name> = seen.iter().map(|(the_loop, _)| &the_loop.line).collect();
    let of_line = |line: &Name| {
        let loops: Vec<_> = seen
            .iter()
            .filter(|(the_loop, _)| the_loop.line == *line)
            .map(|(_, seen)| (seen.name.clone(), Exchanges::of(&seen.health)))
            .collect();
        // A person who reads once wants to know at once.
        advise(&format!("line {line}"), &loops, 1, false)
    };
    lines.into_iter().flat_map(of_line).collect()
}

/// Every unit answered, a sensor fault included: done; else the line's exit code.
fn verdict(seen: &[(&LoopSetup, LoopSeen)]) -> Exit {
    if seen.iter().all(|(_, seen)| seen.answered) {
        Exit::Done
    } else {
        Exit::Line
    }
}

fn loop_json(map: &Map, seen: &LoopSeen, time: &str) -> Value {
    let points: Vec<Value> = map
        .points
        .iter()
        .zip(&seen.points)
        .map(|(point, seen)| point_json(point, seen))
        .collect();
    let note = |remark: &Remark| {
        let Remark { code, about, text } = remark;
        json!({ "code": code, "about": about, "text": text })
    };
    let notes: Vec<Value> = seen.remarks.iter().map(note).collect();
    let health = health_json(&seen.health);
    json!({ "loop": seen.name, "time": time, "points": points, "notes": notes, "health": health })
}

fn point_json(point: &Point, seen: &Seen) -> Value {
    json!({
        "name": point.name,
        "role": point.role.word(),
        "value": seen.reading.number(),
        "unit": seen.unit.as_deref(),
        "raw": raw_words(seen),
        "state": state(&seen.reading),
        "meaning": meaning(point, &seen.reading),
    })
}

/// A line for each point, its columns as wide as they must be.
fn table(map: &Map, seen: &LoopSeen) -> Vec<String> {
    let rows: Vec<[String; 6]> = map
        .points
        .iter()
        .zip(&seen.points)
        .map(|(point, seen)| row(point, seen))
        .collect();
    let width = |column: usize| rows.iter().map(|row| row[column].chars().count()).max();
    let [names, roles, values, units, words] =
        [0, 1, 2, 3, 4].map(|column| width(column).unwrap_or(0));
    let line = |[name, role, value, unit, raw, remark]: &[String; 6]| {
        format!(
            "  {name:<names$}  {role:<roles$}  {value:>values$} {unit:<units$}  {raw:<words$}  {remark}"
        )
    };
    rows.iter().map(line).collect()
}

fn row(point: &Point, seen: &Seen) -> [String; 6] {
    let value = match &seen.reading {
        Reading::Good(number) => number.to_string(),
        Reading::Fault(_) | Reading::Absent(_) => "----".to_owned(),
    };
    [
        point.name.to_string(),
        point.role.word().to_owned(),
        value,
        seen.unit.as_deref().unwrap_or_default().to_owned(),
        raw_words(seen).unwrap_or_default().join(" "),
        meaning(point, &seen.reading).unwrap_or_default(),
    ]
}

fn raw_words(seen: &Seen) -> Option<Vec<String>> {
    seen.raw
        .as_ref()
        .map(|words| words.iter().map(|word| format!("0x{word:04X}")).collect())
}

fn state(reading: &Reading) -> &'static str {
    match reading {
        Reading::Good(_) => "good",
        Reading::Fault(_) => "faulty",
        Reading::Absent(why) => why.word(),
    }
}

/// What the value means, or what is wrong with it.
fn meaning(point: &Point, reading: &Reading) -> Option<String> {
    match reading {
        Reading::Good(number) => point.in_words(*number).map(str::to_owned),
        Reading::Fault(fault) => Some(fault.meaning.to_string()),
        Reading::Absent(Why::Skipped) => Some("not asked".to_owned()),
        Reading::Absent(why) => Some(why.word().to_owned()),
    }
}
