//! What is printed for people: it fits a terminal, and says what is history.

use std::fmt::Write as _;
use std::fs;
use std::path::{Path, PathBuf};

use tempfile::tempdir;

use super::{Ended, emberline};

/// The demo's recording in this folder, and what the demo said.
fn demo(folder: &Path) -> (PathBuf, Ended) {
    let ended = emberline(&["demo", "--headless", "--out", folder.to_str().unwrap()]);
    assert_eq!(ended.code, Some(0), "{ended}");
    let recording = folder.join("2027-03-04T06-00-00Z_annealing-oven");
    (recording, ended)
}

/// Lines wider than 80 columns, but those that are one long word.
fn too_wide(text: &str) -> Vec<&str> {
    let is_wide = |line: &&str| line.chars().count() > 80 && line.trim().contains(' ');
    text.lines().filter(is_wide).collect()
}

#[test]
fn all_that_is_said_of_a_recording_fits_a_terminal() {
    let folder = tempdir().unwrap();
    let (recording, ended) = demo(folder.path());
    assert_eq!(too_wide(&ended.out), [""; 0]);
    let recording = recording.to_str().unwrap();
    let page = folder.path().join("page.html");
    let table = folder.path().join("oven.csv");
    let (page, table) = (page.to_str().unwrap(), table.to_str().unwrap());
    let mut all = vec![
        vec!["verify", recording],
        vec!["measure", recording],
        vec!["measure", recording, "--against", recording],
        vec![
            "steady",
            recording,
            "--cycle-time",
            "20s",
            "--relay-life",
            "100000",
        ],
        vec!["steady", recording, "--around", "510"],
        vec!["await", recording, "--until", "tuned"],
        vec![
            "evidence", "--before", recording, "--after", recording, "--out", page,
        ],
        vec!["export", recording, "--to", table],
    ];
    for episode in ["1", "2", "3", "4", "5", "6", "7", "8"] {
        all.push(vec!["measure", recording, "--episode", episode]);
    }
    for words in all {
        let ended = emberline(&words);
        assert_eq!(ended.code, Some(0), "{ended}");
        assert!(!ended.out.is_empty(), "{words:?}");
        assert_eq!(too_wide(&ended.out), [""; 0], "{words:?}");
    }
}

#[test]
fn what_is_wrong_with_a_recording_fits_a_terminal() {
    let folder = tempdir().unwrap();
    let (recording, _) = demo(folder.path());
    let rows = recording.join("annealer-top/2027-03-04.csv");
    let text = fs::read_to_string(&rows).unwrap();
    let (first, rest) = text.split_at(text.len() / 2);
    let first = &first[..=first.rfind('\n').unwrap()];
    let cut = rest.lines().skip(4000).collect::<Vec<_>>().join("\n");
    fs::write(&rows, format!("{first}{cut}\n")).unwrap();
    fs::write(
        recording.join("annealer-top/a-note-beside-the-rows.txt"),
        "",
    )
    .unwrap();
    let ended = emberline(&["verify", recording.to_str().unwrap()]);
    assert_eq!(ended.code, Some(1), "{ended}");
    assert!(ended.out.contains("NOT WHOLE"), "{ended}");
    assert_eq!(too_wide(&ended.out), [""; 0]);
}

#[test]
fn maps_are_checked_in_lines_that_fit() {
    let maps = Path::new(env!("CARGO_MANIFEST_DIR")).join("configs/maps");
    let mut checked = 0;
    for entry in fs::read_dir(maps).unwrap() {
        let path = entry.unwrap().path();
        let ended = emberline(&["map", "check", path.to_str().unwrap()]);
        assert_eq!(ended.code, Some(0), "{ended}");
        // Its first line begins with the file, wherever that is.
        let lines = ended.out.split_once('\n').unwrap().1;
        assert_eq!(too_wide(lines), [""; 0], "{}", path.display());
        checked += 1;
    }
    assert!(checked > 3);
}

#[test]
fn a_finding_of_before_the_tune_says_that_it_is_history() {
    let folder = tempdir().unwrap();
    let (recording, _) = demo(folder.path());
    let recording = recording.to_str().unwrap();
    let text = emberline(&["measure", recording]).out;
    let words: Vec<&str> = text.split_whitespace().collect();
    let said = words.join(" ");
    let head = "Before the autotune that ended 2027-03-04T07:26:20Z it looked like: the loop is tuned \
                aggressively";
    assert!(said.contains(head), "{text}");
    assert!(
        said.contains("that is history: the loop has another tuning since"),
        "{text}"
    );
    assert!(!said.contains("Looks like"), "{text}");
    let document = emberline(&["measure", recording, "--json"]).json();
    let one = &document["loops"][0]["diagnosis"][0];
    assert_eq!(
        (&one["code"], &one["tuned_since"]["outcome"]),
        (&"aggressive".into(), &"tuned".into())
    );
    let tune = document["loops"][0]["episodes"].as_array().unwrap();
    let tune = tune.iter().find(|it| it["kind"] == "autotune").unwrap();
    assert_eq!(one["tuned_since"]["at_s"], tune["end_s"]);
}

/// A step of 65 s after a minute at rest, first order with a time constant of 3.2 s.
fn short_step(folder: &Path) -> PathBuf {
    let mut text = String::from("elapsed_s,pv_degC,sp_degC\n");
    for second in 0..=125 {
        let since_s = f64::from(second) - 60.0;
        let (sp, pv) = if since_s < 0.0 {
            (490.0, 490.0)
        } else {
            (510.0, 510.0 - 20.0 * (-since_s / 3.2).exp())
        };
        writeln!(text, "{second},{pv:.3},{sp:.1}").unwrap();
    }
    let path = folder.join("short.csv");
    fs::write(&path, text).unwrap();
    path
}

#[test]
fn a_time_is_said_once_and_the_mean_at_the_end_with_its_length() {
    let folder = tempdir().unwrap();
    let file = short_step(folder.path());
    let file = file.to_str().unwrap();
    let line = |text: &str, label: &str| {
        let found = text
            .lines()
            .find(|line| line.trim_start().starts_with(label));
        found.unwrap_or_default().trim_start().to_owned()
    };
    let text = emberline(&["measure", file, "--band", "0.4"]).out;
    // ln 9 times 3.2 s is 7.03 s; ln 50 times 3.2 s is 12.5 s; both cut by samples of a second.
    let seconds = line(&text, "rise 10 to 90 %").matches(" s").count();
    assert_eq!(seconds, 1, "{text}");
    let seconds = line(&text, "settled within").matches(" s").count();
    assert_eq!(seconds, 1, "{text}");
    let end = line(&text, "error at the end");
    assert!(end.ends_with("mean of the last 1 min"), "{text}");
    let cut = emberline(&["measure", file, "--band", "0.4", "--to", "100s"]).out;
    let end = line(&cut, "error at the end");
    assert!(end.ends_with("mean of all of it, 40 s"), "{cut}");
}

#[test]
fn a_record_of_minutes_has_no_drift_a_day() {
    let folder = tempdir().unwrap();
    let file = short_step(folder.path());
    let words = ["steady", file.to_str().unwrap(), "--around", "510"];
    let text = emberline(&words).out;
    let drift = text.lines().find(|line| line.contains("drift a day"));
    assert!(
        drift.unwrap().ends_with("the record is too short"),
        "{text}"
    );
    let document = emberline(&[&words[..], &["--json"]].concat()).json();
    let one = &document["loops"][0];
    assert!(
        one["drift_per_day"].is_null() && one["drift_ci95"].is_null(),
        "{one}"
    );
    let notes = one["notes"].as_array().unwrap();
    let is_told = |note: &&serde_json::Value| {
        note["code"] == "short-record" && note["about"] == "drift_per_day"
    };
    assert_eq!(notes.iter().filter(is_told).count(), 1, "{one}");
}

#[test]
fn summaries_of_commands_end_alike() {
    for words in [&["--help"][..], &["map", "--help"]] {
        let help = emberline(words).out;
        let listed = help.split("Commands:\n").nth(1).unwrap();
        let listed: Vec<&str> = listed.lines().take_while(|it| !it.is_empty()).collect();
        assert!(listed.len() > 3, "{help}");
        for line in listed {
            assert!(!line.ends_with('.'), "{line}");
        }
    }
}

#[test]
fn the_screen_is_refused_where_there_is_none() {
    let folder = tempdir().unwrap();
    let (recording, _) = demo(folder.path());
    let ended = emberline(&["watch", "--follow", recording.to_str().unwrap()]);
    ended.failed_with(
        2,
        &["standard output is no terminal", "help: 'emberline read"],
    );
    assert_eq!(ended.out, "");
}
