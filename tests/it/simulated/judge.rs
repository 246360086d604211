//! Compares what `measure` finds with the truth.

use std::collections::BTreeSet;
use std::path::Path;

use clap::Parser;
use emberline::cli::measure::{MeasureArgs, run};
use emberline::record::{OpenSource, open_source};
use serde_json::Value;

use super::super::numbers_guide::explained_codes;
use super::truth::{Happened, Simulated};

/// These are definitions, not happenings.
const NOT_JUDGED: [&str; 2] = ["hold", "soak"];
const SAME_S: f64 = 1e-6;

#[derive(Parser)]
struct Line {
    #[command(flatten)]
    measure: MeasureArgs,
}

/// The episodes that `measure --json` tells of.
fn episodes(simulated: &Simulated, path: &Path) -> Vec<Value> {
    let mut words = vec!["measure".to_owned(), path.display().to_string()];
    words.extend(simulated.band.map(|band| format!("--band={band}")));
    words.push("--json".to_owned());
    let args = Line::try_parse_from(words).unwrap().measure;
    let opened = open_source(&args.source, &args.reading.columns());
    let (source, _) = opened.and_then(OpenSource::read).unwrap();
    let mut out = Vec::new();
    run(&args, &source, &mut out).unwrap();
    let document: Value = serde_json::from_slice(&out).unwrap();
    document["loops"][0]["episodes"].as_array().unwrap().clone()
}

/// What is missing, false or in the wrong place.
pub(super) fn faults(simulated: &Simulated, path: &Path) -> Vec<String> {
    let mut found = episodes(simulated, path);
    let explained = explained_codes();
    let notes = found
        .iter()
        .flat_map(|one| one["notes"].as_array().unwrap());
    let codes: BTreeSet<&str> = notes.map(|note| note["code"].as_str().unwrap()).collect();
    let unknown: Vec<_> = codes
        .iter()
        .filter(|code| !explained.contains(**code))
        .collect();
    assert!(
        unknown.is_empty(),
        "docs/numbers.md does not explain the notes {unknown:?}"
    );
    found.retain(|one| !NOT_JUDGED.contains(&one["kind"].as_str().unwrap()));
    let mut faults = Vec::new();
    // Those that must be there choose first.
    let (certain, perhaps): (Vec<_>, Vec<_>) = simulated.truth.iter().partition(|it| it.certain);
    for happened in certain {
        match found.iter().position(|one| shows(one, happened)) {
            Some(index) => drop(found.remove(index)),
            None => faults.push(format!("{}: not found: {happened:?}", simulated.name)),
        }
    }
    for happened in perhaps {
        found.retain(|one| !shows(one, happened));
    }
    faults.extend(found.iter().map(|one| {
        let at = |key: &str| one[key].as_f64().unwrap_or(f64::NAN);
        let (kind, from, to) = (one["kind"].as_str().unwrap(), at("from"), at("to"));
        let (start_s, end_s) = (at("start_s"), at("end_s"));
        format!(
            "{}: false {kind} from {start_s} to {end_s} s, {from} to {to}",
            simulated.name
        )
    }));
    faults
}

fn shows(episode: &Value, happened: &Happened) -> bool {
    let inside = |key: &str, (earliest, latest): (f64, f64)| {
        episode[key]
            .as_f64()
            .is_some_and(|value| (earliest - SAME_S..=latest + SAME_S).contains(&value))
    };
    let setpoints = happened
        .setpoints
        .is_none_or(|(from, to)| inside("from", (from, from)) && inside("to", (to, to)));
    episode["kind"] == happened.kind
        && inside("start_s", happened.start_s)
        && happened.end_s.is_none_or(|end_s| inside("end_s", end_s))
        && setpoints
}
