//! `emberline map check`: what is wrong with a map, what may not be meant, and what reading it takes.

use std::io::{self, Write as _};
use std::path::PathBuf;
use std::time::Duration;

use clap::Args;
use serde_json::{Value, json};

use super::check_text;
use crate::cli::find::format;
use crate::cli::{Exit, Stop};
use crate::line::{PlannedRead, ReadPlan};
use crate::map::{Map, Point};
use crate::setup::{Parity, Port, StopBits};
use crate::spanned::{self, FileErrors, Problem, Warning};

/// Bridging gaps is worth a word when it makes a poll shorter by this share; common practice, no
/// source.
const WORTHWHILE: f64 = 0.2;
/// How often a loop is polled unless its setup says otherwise.
const USUAL_EVERY: Duration = Duration::from_secs(1);

/// Check a register map without hardware: mistakes, doubts, and the reads of one poll with their
/// time on the line.
///
/// Exit code 0 when it can be used, with warnings or without; 2 when it cannot.
///
/// Example: emberline map check maps/oven.toml --baud 19200
#[derive(Debug, Args)]
pub(super) struct CheckArgs {
    /// The map file.
    map: PathBuf,
    /// Bits per second of the line the times are for.
    #[arg(long, default_value_t = 9600, value_name = "RATE",
          value_parser = clap::value_parser!(u32).range(110..=4_000_000))]
    baud: u32,
    /// Its parity: even, odd, none, or with stop bits as 8E1, 8N2.
    #[arg(long, default_value = "even", value_name = "PARITY", value_parser = format)]
    parity: (Parity, StopBits),
    /// One JSON document.
    #[arg(long)]
    json: bool,
}

pub(super) fn run(args: &CheckArgs) -> Result<Exit, Stop> {
    let shown = args.map.display().to_string();
    let text = spanned::read_text(&args.map).map_err(|error| {
        let what = format!("cannot be read: {}", spanned::describe(&error));
        FileErrors::of_file(&shown, what, spanned::help_for(&error))
    });
    let checked = text.and_then(|text| Map::check(&text, &shown));
    let mut out = io::stdout().lock();
    match checked {
        Ok((map, mut warnings)) => {
            let port = port(args);
            let plan = ReadPlan::new(&map, &port);
            warnings.extend(about_plan(&map, &plan, &port, &shown));
            if args.json {
                writeln!(out, "{}", json_of(&shown, &map, &warnings, &plan, &port))?;
            } else {
                check_text::tell(&shown, &map, &plan, &port, &mut out)?;
                out.flush()?;
                check_text::warn(&warnings);
            }
            Ok(Exit::Done)
        }
        Err(errors) if args.json => {
            let problems: Vec<Value> = errors.problems().iter().map(problem_json).collect();
            let more = errors.count() - problems.len();
            let document = json!({
                "map": shown, "title": null, "points": null,
                "errors": problems, "more_errors": more, "notes": [], "plan": null,
            });
            writeln!(out, "{document}")?;
            Ok(Exit::WrongUse)
        }
        Err(errors) => Err(errors.into()),
    }
}

fn port(args: &CheckArgs) -> Port {
    let (parity, stop_bits) = args.parity;
    Port::Serial {
        path: String::new(),
        baud: args.baud,
        parity,
        stop_bits,
    }
}

/// What is doubtful about the reads of a poll.
fn about_plan(map: &Map, plan: &ReadPlan, port: &Port, file: &str) -> Vec<Warning> {
    let warning = |code, what: String, help: &str| Warning {
        code,
        about: "map".to_owned(),
        problem: Problem {
            file: file.to_owned(),
            place: None,
            what,
            help: help.to_owned(),
        },
    };
    let mut found = Vec::new();
    if let Some(what) = would_bridge(map, plan, port) {
        let help = "if the controller allows reading over such addresses, say bridge_gaps = true in \
                    [access]; where it refuses, polling goes back to single reads by itself";
        found.push(warning("bridge-gaps", what, help));
    }
    let takes = plan.poll_takes();
    if takes > USUAL_EVERY {
        let what = format!(
            "one poll takes {} at {}, longer than the usual second between polls",
            check_text::time(takes),
            port.setting().unwrap_or_default()
        );
        let help = "give points that change seldom refresh = \"settings\", raise the baud rate, or \
                    say every = \"2 s\" or more in the setup";
        found.push(warning("slow-poll", what, help));
    }
    found
}

/// What reading over unnamed addresses would save, if it is worth a word.
fn would_bridge(map: &Map, plan: &ReadPlan, port: &Port) -> Option<String> {
    if map.access.bridge_gaps {
        return None;
    }
    let mut bridging = map.clone();
    bridging.access.bridge_gaps = true;
    let other = ReadPlan::new(&bridging, port);
    let [now, then] = [plan, &other].map(ReadPlan::poll_takes);
    let is_worthwhile = then.as_secs_f64() < (1.0 - WORTHWHILE) * now.as_secs_f64();
    (is_worthwhile && other.trend.len() < plan.trend.len()).then(|| {
        format!(
            "one poll is {} reads and {}; over addresses that no point names it would be {} and {}",
            plan.trend.len(),
            check_text::time(now),
            other.trend.len(),
            check_text::time(then)
        )
    })
}

fn json_of(file: &str, map: &Map, warnings: &[Warning], plan: &ReadPlan, port: &Port) -> Value {
    let notes: Vec<Value> = warnings.iter().map(note_json).collect();
    let group = |reads: &[PlannedRead], takes: Duration| {
        let reads: Vec<Value> = reads.iter().map(|read| read_json(map, read)).collect();
        json!({ "takes_s": seconds(takes), "reads": reads })
    };
    json!({
        "map": file,
        "title": map.title,
        "points": map.points.len(),
        "errors": [],
        "notes": notes,
        "plan": {
            "setting": port.setting(),
            "turnaround_s": seconds(ReadPlan::TURNAROUND),
            "trend": group(&plan.trend, plan.poll_takes()),
            "settings": group(&plan.settings, plan.settings_take()),
        },
    })
}

fn read_json(map: &Map, read: &PlannedRead) -> Value {
    let points: Vec<&str> = points_in(map, read)
        .map(|point| point.name.as_str())
        .collect();
    json!({
        "table": read.place.table.word(),
        "address": read.place.address.0,
        "count": read.place.count,
        "takes_s": seconds(read.takes),
        "unique": read.is_unique,
        "points": points,
    })
}

/// The points that a read brings.
pub(super) fn points_in<'m>(map: &'m Map, read: &PlannedRead) -> impl Iterator<Item = &'m Point> {
    let place = read.place;
    map.points.iter().filter(move |point| {
        point.refresh != crate::map::Refresh::Never && point.place.overlaps(&place)
    })
}

/// To the microsecond, which is more than anybody can measure there.
fn seconds(duration: Duration) -> f64 {
    duration.as_micros() as f64 / 1e6
}

fn problem_json(problem: &Problem) -> Value {
    json!({
        "file": problem.file,
        "line": problem.place.as_ref().map(|place| place.line),
        "column": problem.place.as_ref().map(|place| place.column),
        "text": problem.what,
        "help": problem.help,
    })
}

fn note_json(warning: &Warning) -> Value {
    let mut note = problem_json(&warning.problem);
    note["code"] = warning.code.into();
    note["about"] = warning.about.clone().into();
    note
}
