//! `docs/numbers.md`: its example gives the numbers it says, and its table of which number applies to
//! what is the program's.

use std::collections::{BTreeMap, BTreeSet};
use std::fs;
use std::path::Path;

use emberline::analysis::EpisodeKind;
use serde_json::Value;

use super::measure_command::json;

fn guide() -> String {
    let path = Path::new(env!("CARGO_MANIFEST_DIR")).join("docs/numbers.md");
    fs::read_to_string(path).unwrap()
}

/// The words between backticks.
fn words(cell: &str) -> Vec<&str> {
    cell.split('`').skip(1).step_by(2).collect()
}

/// The rows of every table whose header begins with this cell, as their first and last cells.
fn tables<'a>(guide: &'a str, header: &str) -> Vec<Vec<(&'a str, &'a str)>> {
    let mut found: Vec<Vec<_>> = Vec::new();
    let mut inside = false;
    for line in guide.lines() {
        let cells: Vec<&str> = line
            .split(" | ")
            .map(|it| it.trim_matches(['|', ' ']))
            .collect();
        if line.starts_with("|---") {
            continue;
        }
        let is_row = line.starts_with('|') && cells.len() > 1;
        if is_row && inside {
            found
                .last_mut()
                .unwrap()
                .push((cells[0], cells[cells.len() - 1]));
        } else if is_row && cells[0] == header {
            found.push(Vec::new());
        }
        inside = is_row && (inside || cells[0] == header);
    }
    found
}

/// The codes of notes that the guide explains.
pub(super) fn explained_codes() -> BTreeSet<String> {
    let guide = guide();
    let rows = tables(&guide, "`code`").concat();
    let codes = rows.iter().flat_map(|(first, _)| words(first));
    codes.map(str::to_owned).collect()
}

/// The episodes of the guide's example, by kind.
fn example() -> BTreeMap<String, Value> {
    let guide = guide();
    let csv = guide.split("```csv\n").nth(1).unwrap();
    let folder = tempfile::tempdir().unwrap();
    let file = folder.path().join("oven.csv");
    fs::write(&file, csv.split("```").next().unwrap()).unwrap();
    let document = json(&file, &["--band", "2"]);
    let episodes = document["loops"][0]["episodes"].as_array().unwrap().clone();
    let kind = |one: &Value| one["kind"].as_str().unwrap().to_owned();
    episodes.into_iter().map(|one| (kind(&one), one)).collect()
}

#[test]
fn the_guides_example_gives_the_numbers_it_says() {
    let (guide, episodes) = (guide(), example());
    let section = guide.split("## An example to recompute").nth(1).unwrap();
    assert_eq!(episodes.len(), 2);
    let mut compared = 0;
    for (kind, episode) in &episodes {
        for (name, said) in &tables(section, &format!("`{kind}`"))[0] {
            let name = words(name)[0];
            let is = &episode[name];
            if *said == "null" {
                assert!(is.is_null(), "{kind} {name} is {is}");
                let notes = episode["notes"].as_array().unwrap();
                assert!(notes.iter().any(|note| note["about"] == name), "{name}");
            } else {
                let decimals = said.split_once('.').map_or(0, |(_, rest)| rest.len());
                let value = is.as_f64().unwrap_or(f64::NAN);
                let shown = format!("{value:.decimals$}");
                assert_eq!(&shown, said, "{kind} {name}");
            }
            compared += 1;
        }
    }
    assert_eq!(compared, 20);
}

#[test]
fn the_guide_tells_which_number_applies_to_what() {
    let guide = guide();
    let section = guide
        .split("## Which number applies to what")
        .nth(1)
        .unwrap();
    let rows = &tables(section, "kind")[0];
    let kinds = [
        EpisodeKind::SetpointStep,
        EpisodeKind::OutputStep,
        EpisodeKind::Ramp,
        EpisodeKind::Soak,
        EpisodeKind::Hold,
        EpisodeKind::Disturbance,
        EpisodeKind::Autotune,
    ];
    assert_eq!(rows.len(), kinds.len());
    for kind in kinds {
        let name = serde_json::to_value(kind).unwrap();
        let row = rows
            .iter()
            .find(|(first, _)| words(first) == [name.as_str().unwrap()]);
        let mut told: BTreeSet<&str> = words(row.unwrap().1).into_iter().collect();
        if kind == EpisodeKind::OutputStep {
            let step = rows
                .iter()
                .find(|(first, _)| words(first) == ["setpoint-step"]);
            told.extend(words(step.unwrap().1));
        }
        let applies: BTreeSet<&str> = kind.numbers().iter().copied().collect();
        assert_eq!(told, applies, "{name}");
    }
}
