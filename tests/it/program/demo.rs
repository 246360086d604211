//! `demo`: the same seed, the same bytes.

use std::collections::BTreeMap;
use std::fs;
use std::path::{Path, PathBuf};

use tempfile::tempdir;

use super::{Ended, emberline, table};

const RECORDING: &str = "2027-03-04T06-00-00Z_annealing-oven";

fn demo(out: &Path, options: &[&str]) -> Ended {
    let words = ["demo", "--headless", "--out", out.to_str().unwrap()];
    emberline(&[&words, options].concat())
}

/// Every file below a folder, by its path in it.
fn files(folder: &Path) -> BTreeMap<PathBuf, Vec<u8>> {
    let mut found = BTreeMap::new();
    let mut folders = vec![folder.to_owned()];
    while let Some(next) = folders.pop() {
        for entry in fs::read_dir(next).unwrap() {
            let path = entry.unwrap().path();
            if path.is_dir() {
                folders.push(path);
            } else {
                let name = path.strip_prefix(folder).unwrap().to_owned();
                found.insert(name, fs::read(&path).unwrap());
            }
        }
    }
    found
}

#[test]
fn one_seed_gives_the_same_bytes_and_another_seed_others() {
    let folder = tempdir().unwrap();
    let run = |name: &str, seed: &str| {
        let out = folder.path().join(name);
        let ended = demo(&out, &["--seed", seed]);
        assert_eq!(ended.code, Some(0), "{ended}");
        for word in ["overshoot", "settling time", "IAE", "recording", "report"] {
            assert!(ended.out.contains(word), "no {word:?} in {ended}");
        }
        files(&out)
    };
    let (one, again, other) = (run("one", "7"), run("again", "7"), run("other", "8"));
    assert!(one == again);
    assert_eq!(one.len(), 6, "{:?}", one.keys());
    for name in [
        "evidence.html",
        &format!("{RECORDING}/annealer-top/2027-03-04.csv"),
    ] {
        let name = Path::new(name);
        assert!(one[name] != other[name], "{}", name.display());
    }
    let page = String::from_utf8(one[Path::new("evidence.html")].clone()).unwrap();
    let path = folder.path().to_str().unwrap();
    assert!(
        !page.contains(path),
        "the report names a path of this machine"
    );
    for words in ["automatic (0)", "tuned (2)"] {
        assert!(
            page.contains(words),
            "no {words:?}: an enumeration is shown raw"
        );
    }
}

#[test]
fn what_is_noticed_on_the_way_is_what_is_measured_afterwards_and_no_alarm() {
    let folder = tempdir().unwrap();
    for seed in ["1", "7", "8"] {
        let out = folder.path().join(seed);
        assert_eq!(demo(&out, &["--seed", seed]).code, Some(0));
        let recording = out.join(RECORDING);
        let events = table(&recording.join("annealer-top").join("events.csv"));
        let at = |word: &str| -> Vec<f64> {
            let rows = events.iter().filter(|row| row[2] == word);
            rows.map(|row| row[1].parse().unwrap()).collect()
        };
        for alarm in [
            "left-band",
            "no-response",
            "heating-without-output",
            "heating-without-sensor",
        ] {
            assert_eq!(at(alarm), [0.0; 0], "{alarm} with seed {seed}");
        }
        let settled = at("settled");
        let measured = emberline(&["measure", recording.to_str().unwrap(), "--json"]).json();
        let episodes = measured["loops"][0]["episodes"].as_array().unwrap();
        let steps: Vec<f64> = episodes
            .iter()
            .filter(|it| it["kind"] == "setpoint-step")
            .map(|it| it["start_s"].as_f64().unwrap() + it["settling_s"].as_f64().unwrap())
            .collect();
        assert_eq!((steps.len(), settled.len()), (3, 3));
        // Said after it was so.
        for (measured, told) in steps.iter().zip(settled) {
            let later = told - measured;
            assert!((0.0..600.0).contains(&later), "{measured} {told}");
        }
    }
}

#[test]
fn its_document_has_both_sides_and_a_second_demo_replaces_the_first() {
    let folder = tempdir().unwrap();
    for _ in 0..2 {
        let document = demo(folder.path(), &["--json"]).json();
        for side in ["before", "after"] {
            for name in ["overshoot", "settling_s", "iae", "rise_s", "final_error"] {
                assert!(
                    document[side][name].is_number(),
                    "{side} {name} in {document}"
                );
            }
        }
        for name in ["recording", "report"] {
            assert!(
                Path::new(document[name].as_str().unwrap()).exists(),
                "{document}"
            );
        }
        let measured = emberline(&["measure", document["recording"].as_str().unwrap(), "--json"]);
        assert_eq!(measured.code, Some(0), "{measured}");
        assert_eq!(measured.json()["loops"][0]["loop"], "annealer-top");
    }
}

#[test]
fn what_is_not_an_earlier_demos_is_never_replaced() {
    let folder = tempdir().unwrap();
    let taken = folder.path().join(RECORDING);
    fs::create_dir(&taken).unwrap();
    fs::write(taken.join("notes.txt"), "precious").unwrap();
    demo(folder.path(), &[]).failed_with(4, &[RECORDING, "--out"]);
    assert_eq!(
        fs::read_to_string(taken.join("notes.txt")).unwrap(),
        "precious"
    );
    demo(folder.path(), &["--speed", "0"]).failed_with(2, &["--speed"]);
}
