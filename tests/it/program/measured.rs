//! `measure` as scripts and spreadsheets use it: before against after, one row an episode, and what the
//! figures look like.

use std::fmt::Write as _;
use std::fs;
use std::path::{Path, PathBuf};

use tempfile::tempdir;

use super::emberline;

/// So many steps from 490 to 510 and back, an hour each, first order with this time constant; each a
/// little slower than the one before it.
fn steps(folder: &Path, name: &str, runs: u32, tau_s: f64) -> PathBuf {
    let mut text = String::from("elapsed_s,pv_degC,sp_degC,out_pct\n");
    for second in 0..7200 * runs {
        let (run, within) = (second / 7200, f64::from(second % 7200));
        let is_up = within >= 3600.0;
        let (sp, far) = if is_up { (510.0, -20.0) } else { (490.0, 20.0) };
        let since_s = within % 3600.0;
        let tau = tau_s * (1.0 + 0.01 * f64::from(run));
        let pv = sp + far * (-since_s / tau).exp();
        writeln!(text, "{second},{pv:.4},{sp:.1},50.0").unwrap();
    }
    let path = folder.join(name);
    fs::write(&path, text).unwrap();
    path
}

fn words<'a>(before: &'a Path, after: &'a Path, options: &[&'a str]) -> Vec<&'a str> {
    let (before, after) = (before.to_str().unwrap(), after.to_str().unwrap());
    [&["measure", before, "--against", after], options].concat()
}

#[test]
fn several_runs_before_and_after_are_tested() {
    let folder = tempdir().unwrap();
    let slow = steps(folder.path(), "slow.csv", 4, 200.0);
    let fast = steps(folder.path(), "fast.csv", 4, 100.0);
    let ended = emberline(&words(&slow, &fast, &["--band", "2", "--json"]));
    let document = ended.json();
    assert_eq!(document["verdict"], "improved", "{ended}");
    assert_eq!(document["runs"]["before"], 4);
    let tests = document["runs"]["tests"].as_array().unwrap();
    let iae = tests.iter().find(|test| test["number"] == "iae").unwrap();
    // Every run before is worse than every run after: 2 of the 70 ways to deal eight ranks.
    assert!((iae["chance"].as_f64().unwrap() - 2.0 / 70.0).abs() < 1e-12);
    // IAE of a first order step is tau times the step: 200 s times 20 degrees.
    let first = iae["before"][0].as_f64().unwrap();
    assert!((first / 4000.0 - 1.0).abs() < 0.01, "{first}");
    let text = emberline(&words(&slow, &fast, &["--band", "2"])).out;
    assert!(text.contains("4 runs, 4 runs"), "{text}");
    assert!(text.contains("0.029"), "{text}");
    assert!(
        text.lines().all(|line| line.chars().count() <= 80),
        "{text}"
    );
}

#[test]
fn one_run_each_claims_nothing() {
    let folder = tempdir().unwrap();
    let slow = steps(folder.path(), "slow.csv", 1, 200.0);
    let fast = steps(folder.path(), "fast.csv", 1, 100.0);
    let text = emberline(&words(&slow, &fast, &[])).out;
    let said: Vec<&str> = text.split_whitespace().collect();
    assert!(
        said.join(" ").contains("not that it would come again"),
        "{text}"
    );
    let document = emberline(&words(&slow, &fast, &["--json"])).json();
    assert!(document["runs"]["tests"][0]["chance"].is_null());
}

#[test]
fn what_makes_two_steps_no_pair_is_said() {
    let folder = tempdir().unwrap();
    let before = steps(folder.path(), "before.csv", 1, 200.0);
    // The same hour, but the last step there goes down.
    let after = folder.path().join("after.csv");
    let text = fs::read_to_string(&before).unwrap();
    let (header, rows) = text.split_once('\n').unwrap();
    let rows: Vec<&str> = rows.lines().collect();
    let turned = |from: usize, to: usize, shift_s: i64| {
        rows[from..to].iter().map(move |row| {
            let (second, rest) = row.split_once(',').unwrap();
            format!("{},{rest}\n", second.parse::<i64>().unwrap() + shift_s)
        })
    };
    let down: String = turned(3600, 7200, -3600)
        .chain(turned(0, 3600, 3600))
        .collect();
    fs::write(&after, format!("{header}\n{down}")).unwrap();
    let document = emberline(&words(&before, &after, &["--json"])).json();
    assert_eq!(document["verdict"], "no-verdict");
    let notes = document["not_comparable"].as_array().unwrap();
    assert!(notes.iter().any(|note| note["about"] == "to"), "{document}");
}

#[test]
fn one_row_an_episode_has_the_names_of_the_json() {
    let folder = tempdir().unwrap();
    let file = steps(folder.path(), "oven.csv", 1, 200.0);
    let file = file.to_str().unwrap();
    let table = emberline(&["measure", file, "--csv"]).out;
    let document = emberline(&["measure", file, "--json"]).json();
    let episodes = document["loops"][0]["episodes"].as_array().unwrap();
    let mut reader = csv::Reader::from_reader(table.as_bytes());
    let header = reader.headers().unwrap().clone();
    let rows: Vec<_> = reader.records().map(Result::unwrap).collect();
    assert_eq!(rows.len(), episodes.len());
    for (row, episode) in rows.iter().zip(episodes) {
        for (name, value) in episode.as_object().unwrap() {
            let column = header.iter().position(|it| it == name).unwrap();
            match value.as_f64() {
                Some(number) => assert_eq!(row[column].parse(), Ok(number), "{name}"),
                None if value.is_null() => assert_eq!(&row[column], "", "{name}"),
                None => {}
            }
        }
    }
}

#[test]
fn a_danger_is_said_first() {
    let folder = tempdir().unwrap();
    let mut text = String::from("elapsed_s,pv_degC,sp_degC,out_pct\n");
    for second in 0..3600 {
        let (pv, out) = (20.0 + 0.1 * f64::from(second % 2), 100.0);
        writeln!(text, "{second},{pv:.1},510.0,{out:.1}").unwrap();
    }
    let file = folder.path().join("dead.csv");
    fs::write(&file, text).unwrap();
    let file = file.to_str().unwrap();
    let said = emberline(&["measure", file]).out;
    let (danger, list) = (said.find("DANGER: full output"), said.find("episode  "));
    assert!(danger.is_some() && danger < list, "{said}");
    let words: Vec<&str> = said.split_whitespace().collect();
    let said = words.join(" ");
    assert!(said.contains("cut the heater power and read an independent thermometer"));
    let document = emberline(&["measure", file, "--json"]).json();
    assert_eq!(document["loops"][0]["diagnosis"][0]["code"], "no-response");
}
