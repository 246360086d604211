//! `emberline read`: one poll of every point.

use std::io::{self, Write};
use std::path::PathBuf;
use std::time::Duration;

use chrono::SecondsFormat;
use clap::Args;
use serde_json::{Value, json};

use super::running::runtime;
use super::{Exit, Stop, signals};
use crate::clock::{Clock, Stamp};
use crate::line::{self, Line, LoopSeen, Seen};
use crate::map::{Map, Meaning, Point};
use crate::name::Name;
use crate::sample::Reading;
use crate::setup::{LoopSetup, Setup};

/// Pause between the readings of --repeat.
const AGAIN: Duration = Duration::from_secs(1);

/// Read every point of every loop once.
///
/// Example: emberline read oven.toml --loop annealer-top
#[derive(Debug, Args)]
pub(super) struct ReadArgs {
    /// The setup file.
    setup: PathBuf,
    /// Only this loop.
    #[arg(long = "loop", value_name = "NAME")]
    only: Option<Name>,
    /// Again every second until Ctrl-C.
    #[arg(long)]
    repeat: bool,
    /// One JSON document for each reading.
    #[arg(long)]
    json: bool,
}

pub(super) fn run(args: &ReadArgs) -> Result<Exit, Stop> {
    let setup = Setup::load(&args.setup)?;
    let loops = chosen(&setup, args.only.as_ref())?;
    runtime()?.block_on(async {
        let clock = Clock::of_this_machine();
        let mut lines = open_lines(&setup, &loops).await?;
        loop {
            let seen = read_all(&mut lines, &loops).await;
            tell(&seen, clock.now(), args.json)?;
            if !args.repeat {
                return Ok(verdict(&seen));
            }
            tokio::select! {
                () = tokio::time::sleep(AGAIN) => {}
                _ = signals::asked_to_end() => return Ok(verdict(&seen)),
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

async fn open_lines(setup: &Setup, loops: &[LoopSetup]) -> Result<Vec<Line>, Stop> {
    let mut lines = Vec::new();
    for line in setup
        .lines
        .iter()
        .filter(|line| loops.iter().any(|it| it.line == line.name))
    {
        let mut line = Line::new(line, loops, line::opener(line.port.clone()));
        line.connect().await?;
        lines.push(line);
    }
    Ok(lines)
}

async fn read_all<'a>(
    lines: &mut [Line],
    loops: &'a [LoopSetup],
) -> Vec<(&'a LoopSetup, LoopSeen)> {
    let mut seen = Vec::new();
    for the_loop in loops {
        for line in lines
            .iter_mut()
            .filter(|line| line.loop_names().any(|name| *name == the_loop.name))
        {
            seen.push((the_loop, line.read_loop(the_loop).await));
        }
    }
    seen
}

fn tell(seen: &[(&LoopSetup, LoopSeen)], now: Stamp, json: bool) -> Result<(), Stop> {
    let mut out = io::stdout().lock();
    let time = now.time.to_rfc3339_opts(SecondsFormat::Millis, true);
    if json {
        let loops: Vec<Value> = seen
            .iter()
            .map(|(the_loop, seen)| loop_json(&the_loop.map, seen, &time))
            .collect();
        writeln!(out, "{}", json!({ "loops": loops }))?;
    } else {
        for (the_loop, seen) in seen {
            writeln!(
                out,
                "{}  unit {}  {}",
                the_loop.name,
                the_loop.unit.get(),
                the_loop.map.title
            )?;
            for (point, seen) in the_loop.map.points.iter().zip(&seen.points) {
                writeln!(out, "{}", point_text(&the_loop.map, point, seen).trim_end())?;
            }
        }
    }
    out.flush()?;
    for failure in seen.iter().flat_map(|(_, seen)| &seen.failures) {
        let _ = writeln!(io::stderr(), "{failure}");
    }
    Ok(())
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
        .map(|(point, seen)| point_json(map, point, seen))
        .collect();
    json!({ "loop": seen.name, "time": time, "points": points })
}

fn point_json(map: &Map, point: &Point, seen: &Seen) -> Value {
    json!({
        "name": point.name,
        "role": point.role.word(),
        "value": seen.reading.number(),
        "unit": seen.unit.as_deref(),
        "raw": raw_words(seen),
        "state": state(&seen.reading),
        "meaning": meaning(map, point, &seen.reading),
    })
}

fn point_text(map: &Map, point: &Point, seen: &Seen) -> String {
    let value = match &seen.reading {
        Reading::Good(number) => number.to_string(),
        Reading::Fault(_) | Reading::Absent(_) => "----".to_owned(),
    };
    let unit = seen.unit.as_deref().unwrap_or_default();
    let words = raw_words(seen).unwrap_or_default().join(" ");
    let remark = meaning(map, point, &seen.reading).unwrap_or_default();
    format!(
        "  {:<14} {:<18} {value:>10} {unit:<6} {words:<28} {remark}",
        point.name,
        point.role.word()
    )
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
fn meaning(map: &Map, point: &Point, reading: &Reading) -> Option<String> {
    match reading {
        Reading::Good(_) => {
            let meaning = || map.meaning(point, reading).map(Meaning::word);
            point.name_of(reading).or_else(meaning).map(str::to_owned)
        }
        Reading::Fault(fault) => Some(fault.meaning.to_string()),
        Reading::Absent(why) => Some(why.word().to_owned()),
    }
}
