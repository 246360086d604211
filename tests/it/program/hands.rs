//! One owner, many hands: marks, readings and refusals while a recorder runs.

use std::path::{Path, PathBuf};

use mock_device::registers::Annealer;
use mock_device::wire::listen::Framing;
use tempfile::{TempDir, tempdir};

use super::device::{Device, LOOP, Plug, alter};
#[cfg(unix)]
use super::events;
use super::{AT_ONCE, Ended, Running, emberline, recording_in, rows, table, until};

/// A recorder at work.
struct Bench {
    device: Device,
    folder: TempDir,
    setup: PathBuf,
    recording: PathBuf,
    recorder: Running,
}

fn start(framing: Framing) -> Bench {
    let device = Device::start(Plug::Tcp(framing), &Annealer);
    let folder = tempdir().unwrap();
    let setup = device.setup(folder.path());
    let into = folder.path().join("recordings");
    let recorder = record(&setup, &into);
    let recording = recording_in(&into);
    let bench = Bench {
        device,
        folder,
        setup,
        recording,
        recorder,
    };
    // Others are told where it listens a moment after its first row.
    until("an owner", || {
        (bench.mark(&["it begins"]).code == Some(0)).then_some(())
    });
    bench
}

fn record(setup: &Path, into: &Path) -> Running {
    let words = ["record", text(setup), "--into", text(into)];
    Running::start(&[&words[..], &AT_ONCE].concat())
}

fn text(path: &Path) -> &str {
    path.to_str().unwrap()
}

impl Bench {
    fn mark(&self, words: &[&str]) -> Ended {
        emberline(&[&["mark", text(&self.recording)], words].concat())
    }

    #[cfg(unix)]
    fn end(self) -> (PathBuf, TempDir) {
        self.recorder.signal("TERM");
        assert_eq!(self.recorder.end().code, Some(0));
        (self.recording, self.folder)
    }
}

fn marks(recording: &Path) -> Vec<String> {
    let rows = table(&recording.join(LOOP).join("events.csv"));
    let marks = rows.into_iter().filter(|row| row[2] == "mark");
    marks.map(|row| row[3].clone()).collect()
}

#[test]
fn a_mark_from_any_terminal_is_in_the_running_recording() {
    let bench = start(Framing::Rtu);
    let ended = bench.mark(&["door  opened", "--loop", LOOP, "--json"]);
    assert_eq!((ended.code, ended.err.as_str()), (Some(0), ""), "{ended}");
    let document = ended.json();
    assert_eq!(document["text"], "door opened");
    let time = document["time"].as_str().unwrap();
    assert!(chrono::DateTime::parse_from_rfc3339(time).is_ok(), "{time}");
    let marks = until("the mark", || {
        let marks = marks(&bench.recording);
        (marks.len() == 2).then_some(marks)
    });
    assert_eq!(marks, ["it begins", "door opened"]);
    let elsewhere = bench.mark(&["x", "--loop", "base"]);
    elsewhere.failed_with(2, &["no loop 'base'", &format!("its loops are {LOOP}")]);
    let folder = emberline(&["mark", text(bench.folder.path()), "x"]);
    folder.failed_with(4, &["is no recording", "help: "]);
}

#[cfg(unix)]
#[test]
fn a_recording_that_nobody_writes_takes_no_marks_and_says_why() {
    let bench = start(Framing::Rtu);
    let (recording, _folder) = bench.end();
    let late = emberline(&["mark", text(&recording), "x"]);
    late.failed_with(4, &["takes no more marks", "it ended at 20", "help: "]);
    assert_eq!(events(&recording, LOOP).last().unwrap(), "recording-ended");
}

#[test]
fn a_recorder_that_was_killed_is_in_nobodys_way() {
    let bench = start(Framing::Rtu);
    drop(bench.recorder);
    let nobody = emberline(&["mark", text(&bench.recording), "x"]);
    nobody.failed_with(4, &["nobody here is recording into", "help: "]);
    let read = emberline(&[&["read", text(&bench.setup), "--json"], &AT_ONCE[..]].concat());
    assert_eq!(read.code, Some(0), "{read}");
    assert_eq!(read.json()["notes"], serde_json::json!([]));
    let elsewhere = bench.folder.path().join("elsewhere");
    let _recorder = record(&bench.setup, &elsewhere);
    let recording = recording_in(&elsewhere);
    until("a row", || rows(&recording, LOOP).first().map(|_| ()));
}

#[test]
fn a_reading_goes_through_whoever_polls_the_line() {
    let bench = start(Framing::Rtu);
    let direct = |json: &str| {
        let ended = emberline(&["read", json, "--json"]);
        assert_eq!((ended.code, ended.err.as_str()), (Some(0), ""), "{ended}");
        ended.json()
    };
    for source in [&bench.setup, &bench.recording] {
        let document = direct(text(source));
        let points = document["loops"][0]["points"].as_array().unwrap();
        assert!(
            points.iter().all(|point| point["state"] == "good"),
            "{document}"
        );
        let note = &document["notes"][0];
        assert_eq!(
            (&note["code"], &note["about"]),
            (&"read-through".into(), &"line bench".into())
        );
        assert!(
            note["text"]
                .as_str()
                .unwrap()
                .contains(text(&bench.recording)),
            "{note}"
        );
    }
    let ended = emberline(&["read", text(&bench.setup)]);
    assert_eq!(ended.code, Some(0), "{ended}");
    assert!(
        ended.err.starts_with("line bench: read by process "),
        "{ended}"
    );
    // A unit that nobody polls there.
    alter(&bench.setup, "unit_number = 1", "unit_number = 9");
    let other = emberline(&["read", text(&bench.setup)]);
    other.failed_with(3, &["loop 'annealer-top' was not read", "unit 9", "help: "]);
    assert!(
        rows(&bench.recording, LOOP)
            .iter()
            .all(|row| row[2] != "port-lost")
    );
}

#[test]
fn a_second_recorder_is_refused_and_told_who_is_there() {
    let bench = start(Framing::Rtu);
    let setup = text(&bench.setup);
    let (elsewhere, into) = (
        bench.folder.path().join("b"),
        bench.recording.parent().unwrap(),
    );
    let refused = emberline(&["record", setup, "--into", text(&elsewhere)]);
    let told = [
        &bench.device.port,
        "is polled by process ",
        "emberline record ",
        text(&bench.recording),
        "help: 'emberline watch --follow ",
    ];
    refused.failed_with(3, &told);
    let who = refused.err.split("process ").nth(1).unwrap();
    let who = who.split(' ').next().unwrap();
    let way = if cfg!(unix) {
        format!(
            "to use the port otherwise end that process first: 'kill -TERM {who}' ends it in order"
        )
    } else {
        "Ctrl-C in its window ends it in order".to_owned()
    };
    refused.failed_with(3, &[&way]);
    assert!(!elsewhere.exists());
    let same = emberline(&["record", setup, "--into", text(into)]);
    same.failed_with(
        4,
        &[
            "process ",
            "emberline record ",
            "is recording into it",
            "help: ",
        ],
    );
    assert_eq!(into.read_dir().unwrap().count(), 1);
    let port = &bench.device.port;
    for words in [
        &["read", setup, "--listen-only"][..],
        &["find", "--rtu-over-tcp", port, "--unit-numbers", "1"],
        &["map", "locate", setup, "--shows", "490.0"],
    ] {
        let ended = emberline(words);
        ended.failed_with(3, &[port, "is polled by process ", "help: "]);
    }
}

#[test]
fn a_gateway_serves_several_recorders() {
    let bench = start(Framing::Tcp);
    let elsewhere = bench.folder.path().join("elsewhere");
    let _second = record(&bench.setup, &elsewhere);
    let second = recording_in(&elsewhere);
    until("a row", || rows(&second, LOOP).first().map(|_| ()));
    // Each takes its own marks.
    let mark = || emberline(&["mark", text(&second), "here"]);
    until("an owner", || (mark().code == Some(0)).then_some(()));
    until("the mark", || marks(&second).first().cloned());
    assert_eq!(marks(&bench.recording), ["it begins"]);
}
