//! `emberline evidence`, from its arguments to its file and exit code.

use std::path::Path;

use clap::Parser;
use emberline::cli::evidence::{EvidenceArgs, run};
use emberline::cli::{Exit, Stop};
use emberline::record::{LoopRecord, Source};
use serde_json::Value;

use super::example::{AFTER, BEFORE, Session};

#[derive(Parser)]
struct Line {
    #[command(flatten)]
    evidence: EvidenceArgs,
}

fn source(name: &str, loops: Vec<LoopRecord>) -> Source {
    let facts = Session::new(BEFORE, AFTER).facts;
    Source {
        name: name.to_owned(),
        facts: Some(facts),
        loops,
    }
}

fn session() -> Source {
    source("session", vec![Session::new(BEFORE, AFTER).record])
}

/// Runs the command with both sources; what it printed and how it ended.
fn evidence(
    out: &Path,
    before: &Source,
    after: &Source,
    options: &[&str],
) -> Result<(String, Exit), Stop> {
    let mut words = vec!["evidence", "--before", "b", "--after", "a", "--out"];
    words.push(out.to_str().unwrap());
    words.extend(options);
    let args = Line::try_parse_from(words).unwrap().evidence;
    let mut printed = Vec::new();
    let exit = run(&args, before, after, &mut printed)?;
    Ok((String::from_utf8(printed).unwrap(), exit))
}

fn criteria(folder: &Path, lines: &str) -> String {
    let path = folder.join("limits.toml");
    std::fs::write(&path, format!("schema = 1\n{lines}")).unwrap();
    path.to_str().unwrap().to_owned()
}

#[test]
fn the_report_is_written_and_its_place_told() {
    let folder = tempfile::tempdir().unwrap();
    let out = folder.path().join("report.html");
    let (printed, exit) = evidence(&out, &session(), &session(), &[]).unwrap();
    assert_eq!(exit, Exit::Done);
    assert!(
        printed.contains("\nImproved. Better: overshoot"),
        "{printed}"
    );
    assert!(printed.contains("report.html"), "{printed}");
    let html = std::fs::read_to_string(&out).unwrap();
    assert!(html.ends_with("</html>\n"));
    let place = folder.path().to_str().unwrap();
    assert!(!html.contains(place), "the report tells where it lies");
    assert_eq!(std::fs::read_dir(folder.path()).unwrap().count(), 1);
}

#[test]
fn criteria_decide_the_exit_code() {
    let folder = tempfile::tempdir().unwrap();
    let out = folder.path().join("report.html");
    let ended = |lines: &str| {
        let file = criteria(folder.path(), lines);
        let options = ["--criteria", &file, "--json"];
        let (printed, exit) = evidence(&out, &session(), &session(), &options).unwrap();
        (serde_json::from_str::<Value>(&printed).unwrap(), exit)
    };
    let (document, exit) = ended("overshoot_max = 2.0\nsettling_max = \"15 min\"\n");
    assert_eq!(
        (exit, document["verdict"].as_str()),
        (Exit::Done, Some("pass"))
    );
    assert_eq!(document["criteria"][1]["name"], "settling_max");
    assert_eq!(document["criteria"][1]["limit"], 900.0);
    assert_eq!(document["criteria"][1]["met"], true);
    let (document, exit) = ended("settling_max = \"1 min\"\n");
    assert_eq!(
        (exit, document["verdict"].as_str()),
        (Exit::NotMet, Some("fail"))
    );
    // The band of the criteria is the one that is measured with: one degree takes longer than two.
    let (wide, _) = ended("iae_max = 1.0\n");
    let (narrow, _) = ended("band = 1.0\niae_max = 1.0\n");
    let settling = |document: &Value| document["after"]["settling_s"].as_f64().unwrap();
    assert!(settling(&narrow) > settling(&wide));
    // Limits in degrees Fahrenheit are judged in the loop's own unit.
    let (fahrenheit, _) = ended("unit = \"degF\"\novershoot_max = 3.0\n");
    let limit = fahrenheit["criteria"][0]["limit"].as_f64().unwrap();
    assert!((limit - 3.0 / 1.8).abs() < 1e-12);
    // The integrals look no further than the criteria say.
    let (short, _) = ended("window = \"10 min\"\niae_max = 1.0\n");
    let window = |document: &Value| document["after"]["window_s"].as_f64().unwrap();
    assert!((window(&short) - 600.0).abs() < 1e-9);
    assert!(window(&wide) > 3500.0);
}

#[test]
fn criteria_with_a_mistake_are_wrong_use_with_the_place() {
    let folder = tempfile::tempdir().unwrap();
    let file = criteria(folder.path(), "overshot_max = 2.0\n");
    let out = folder.path().join("report.html");
    let stop = evidence(&out, &session(), &session(), &["--criteria", &file]).unwrap_err();
    assert_eq!(stop.exit, Exit::WrongUse);
    assert!(
        stop.text
            .contains("limits.toml:2:1: unknown key 'overshot_max'"),
        "{}",
        stop.text
    );
    assert!(!out.exists());
}

#[test]
fn several_loops_need_a_name() {
    let folder = tempfile::tempdir().unwrap();
    let out = folder.path().join("report.html");
    let mut second = Session::new(BEFORE, AFTER).record;
    second.name = "annealer-bottom".to_owned();
    let two = source("session", vec![Session::new(BEFORE, AFTER).record, second]);
    let stop = evidence(&out, &two, &two, &[]).unwrap_err();
    assert_eq!(stop.exit, Exit::WrongUse);
    assert!(
        stop.text.contains("--loop: annealer-top, annealer-bottom"),
        "{}",
        stop.text
    );
    let (_, exit) = evidence(&out, &two, &two, &["--loop", "annealer-bottom"]).unwrap();
    assert_eq!(exit, Exit::Done);
    assert!(
        std::fs::read_to_string(&out)
            .unwrap()
            .contains("annealer-bottom")
    );
}

#[test]
fn a_report_that_cannot_be_written_is_a_matter_of_files() {
    let folder = tempfile::tempdir().unwrap();
    let out = folder.path().join("missing").join("report.html");
    let stop = evidence(&out, &session(), &session(), &[]).unwrap_err();
    assert_eq!(stop.exit, Exit::Files);
    assert!(
        stop.text
            .contains("help: give --out a file in a folder that exists"),
        "{}",
        stop.text
    );
}

#[test]
fn records_without_a_setpoint_take_the_step_a_person_names() {
    let bare = |name: &str, from_s: f64| {
        let mut record = Session::new(BEFORE, AFTER)
            .record
            .cut(from_s, from_s + 3600.0);
        for t in &mut record.time_s {
            *t -= from_s;
        }
        record.setpoint = None;
        record.autotune = None;
        record.settings.clear();
        name.clone_into(&mut record.name);
        source(name, vec![record])
    };
    let folder = tempfile::tempdir().unwrap();
    let out = folder.path().join("report.html");
    let (before, after) = (bare("before.csv", 300.0), bare("after.csv", 6600.0));
    let stop = evidence(&out, &before, &after, &[]).unwrap_err();
    assert!(stop.text.contains("before.csv"), "{}", stop.text);
    let options = ["--step-at", "0", "--target", "510", "--json"];
    let (printed, exit) = evidence(&out, &before, &after, &options).unwrap();
    assert_eq!(exit, Exit::Done);
    let document: Value = serde_json::from_str(&printed).unwrap();
    assert_eq!(document["verdict"], "improved");
    let over = |side: &str| document[side]["overshoot"].as_f64().unwrap();
    assert!((over("before") - BEFORE.overshoot()).abs() < 0.3);
    assert!((over("after") - AFTER.overshoot()).abs() < 0.3);
}
