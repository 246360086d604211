//! `record`: what it leaves behind, whatever happens to the line, the disk or itself.

use std::fs;
use std::path::Path;

use mock_device::registers::Annealer;
use mock_device::wire::listen::Framing;
use serde_json::Value;
use sha2::{Digest as _, Sha256};
use tempfile::tempdir;

use super::device::{Device, EVERY_S, LOOP, Plug};
use super::{AT_ONCE, Running, emberline, events, recording_in, rows, states, until};

fn device() -> Device {
    Device::start(Plug::Tcp(Framing::Rtu), &Annealer)
}

/// Starts recording into `folder/recordings`, with more options.
fn start(device: &Device, folder: &Path, options: &[&str]) -> Running {
    let setup = device.setup(folder);
    let into = folder.join("recordings");
    let words = [
        "record",
        setup.to_str().unwrap(),
        "--into",
        into.to_str().unwrap(),
    ];
    Running::start(&[&words, &AT_ONCE[..], options].concat())
}

/// Whether `SHA256SUMS` names every file of a recording with its sum.
fn sums_hold(recording: &Path) -> bool {
    let sums = fs::read_to_string(recording.join("SHA256SUMS")).unwrap();
    let holds = |line: &str| {
        let (sum, name) = line.split_once("  ").unwrap();
        let digest = Sha256::digest(fs::read(recording.join(name)).unwrap());
        let byte = |at: usize| u8::from_str_radix(&sum[at..at + 2], 16).unwrap();
        (0..64).step_by(2).map(byte).eq(digest)
    };
    // The others are the links of their chain.
    let sums: Vec<&str> = sums.lines().filter(|line| !line.starts_with('#')).collect();
    sums.len() == 4 && sums.into_iter().all(holds)
}

#[test]
fn every_scheduled_poll_is_a_row_and_the_closed_recording_says_so_itself() {
    let folder = tempdir().unwrap();
    let ended = start(&device(), folder.path(), &["--for", "2s", "--json"]).end();
    assert_eq!(ended.code, Some(0), "{ended}");
    let lines: Vec<Value> = ended
        .out
        .lines()
        .map(|line| serde_json::from_str(line).unwrap())
        .collect();
    let healths: Vec<&Value> = lines
        .iter()
        .filter(|line| line["health"].is_object())
        .collect();
    let [told] = healths[..] else {
        panic!("{} lines of health in {ended}", healths.len());
    };
    assert_eq!(
        (&told["loop"], told["time"].is_string()),
        (&LOOP.into(), true)
    );
    assert!(told["health"]["answered"].as_u64() > Some(0), "{told}");
    assert!(told["health"]["answer_ms"]["median"].is_number(), "{told}");
    let recording = recording_in(&folder.path().join("recordings"));
    assert_eq!(
        lines.last().unwrap()["recording"],
        recording.to_str().unwrap()
    );
    let rows = rows(&recording, LOOP);
    assert_eq!(rows.len(), 20);
    let elapsed: Vec<f64> = rows.iter().map(|row| row[1].parse().unwrap()).collect();
    assert!(elapsed.is_sorted(), "{elapsed:?}");
    for (n, (row, elapsed)) in rows.iter().zip(elapsed).enumerate() {
        assert!(elapsed >= EVERY_S * n as f64 - 1e-9, "row {n} at {elapsed}");
        // On a busy machine a poll may be skipped; then it says so and has no values.
        let cells = [row[2].as_str(), row[4].as_str()];
        assert!(
            cells == ["good", "490.0"] || cells == ["skipped", ""],
            "{row:?}"
        );
    }
    assert!(rows.iter().any(|row| row[2] == "good"));
    assert_eq!(
        events(&recording, LOOP),
        ["recording-began", "recording-ended"]
    );
    assert!(sums_hold(&recording));
}

#[cfg(unix)]
#[test]
fn a_stop_signal_closes_the_recording_in_order() {
    for (signal, said) in [
        ("TERM", "terminated"),
        ("INT", "interrupted"),
        ("HUP", "closed"),
    ] {
        let folder = tempdir().unwrap();
        let device = device();
        let recorder = start(&device, folder.path(), &[]);
        let recording = recording_in(&folder.path().join("recordings"));
        until("a few rows", || {
            (rows(&recording, LOOP).len() > 3).then_some(())
        });
        recorder.signal(signal);
        let ended = recorder.end();
        assert_eq!(ended.code, Some(0), "{ended}");
        assert!(ended.err.contains(said), "{ended}");
        assert_eq!(ended.out.trim(), recording.to_str().unwrap());
        assert_eq!(events(&recording, LOOP).last().unwrap(), "recording-ended");
        let facts = fs::read_to_string(recording.join("recording.toml")).unwrap();
        assert!(facts.contains("\nended = "), "{facts}");
        assert!(sums_hold(&recording));
    }
}

#[test]
fn a_device_that_goes_and_comes_back_leaves_rows_that_say_so() {
    let folder = tempdir().unwrap();
    let mut device = device();
    let recorder = start(&device, folder.path(), &["--for", "4s"]);
    let recording = recording_in(&folder.path().join("recordings"));
    let seen = |state: &str| {
        states(&recording, LOOP)
            .contains(&state.to_owned())
            .then_some(())
    };
    until("good rows", || seen("good"));
    device.unplug();
    until("lost rows", || seen("port-lost"));
    device.plug_in();
    let ended = recorder.end();
    assert_eq!(ended.code, Some(0), "{ended}");
    assert_eq!(rows(&recording, LOOP).len(), 40, "a row for every poll");
    let mut stretches = states(&recording, LOOP);
    stretches.dedup();
    assert_eq!(stretches, ["good", "port-lost", "good"]);
    let happened = events(&recording, LOOP);
    for event in ["port-lost", "port-back"] {
        assert!(happened.contains(&event.to_owned()), "{happened:?}");
    }
    assert!(sums_hold(&recording));
}

#[test]
fn a_folder_that_cannot_be_written_is_named_and_nothing_is_left_behind() {
    let folder = tempdir().unwrap();
    let device = device();
    let setup = device.setup(folder.path());
    let file = folder.path().join("a-file");
    fs::write(&file, "precious").unwrap();
    let before = fs::read_dir(folder.path()).unwrap().count();
    // Below a file nobody can make a folder, root neither.
    for into in [file.clone(), file.join("recordings")] {
        let words = [
            "record",
            setup.to_str().unwrap(),
            "--into",
            into.to_str().unwrap(),
        ];
        let ended = emberline(&[&words[..], &AT_ONCE].concat());
        ended.failed_with(
            4,
            &[into.to_str().unwrap(), "could not be written", "help: "],
        );
    }
    assert_eq!(fs::read_to_string(&file).unwrap(), "precious");
    assert_eq!(fs::read_dir(folder.path()).unwrap().count(), before);
}

/// Puts a recording's times back by years.
fn let_years_pass(recording: &Path) {
    let the_loop = fs::read_dir(recording.join(LOOP)).unwrap();
    let files = the_loop.map(|entry| entry.unwrap().path());
    for path in files.chain([recording.join("recording.toml")]) {
        let text = fs::read_to_string(&path).unwrap();
        let lines = text.lines().map(|line| match line.get(..2) {
            Some("20") => format!("19{}\n", &line[2..]),
            _ => line.replace("began = \"20", "began = \"19") + "\n",
        });
        fs::write(&path, lines.collect::<String>()).unwrap();
    }
}

#[test]
fn a_recording_that_was_left_long_ago_stays_as_it_is_and_a_new_one_begins() {
    let folder = tempdir().unwrap();
    let device = device();
    let recorder = start(&device, folder.path(), &[]);
    let recording = recording_in(&folder.path().join("recordings"));
    until("rows", || (rows(&recording, LOOP).len() > 3).then_some(()));
    drop(recorder);
    let_years_pass(&recording);
    let left = fs::read_to_string(recording.join("recording.toml")).unwrap();

    let ended = start(&device, folder.path(), &["--for", "1s"]).end();
    assert_eq!(ended.code, Some(0), "{ended}");
    for said in ["was not closed", "a new recording begins"] {
        assert!(ended.err.contains(said), "{ended}");
    }
    let new = Path::new(ended.out.trim());
    assert_ne!(new, recording);
    assert_eq!(rows(new, LOOP).len(), 10);
    let now = fs::read_to_string(recording.join("recording.toml")).unwrap();
    assert_eq!(now, left);
}

/// Three files for each.
#[cfg(unix)]
#[test]
fn more_loops_are_recorded_than_the_system_allows_files_at_first() {
    use std::fmt::Write as _;
    let units: Vec<u8> = (1..=100).collect();
    let device = Device::of_units(Plug::Tcp(Framing::Tcp), &units);
    let folder = tempdir().unwrap();
    let setup = device.setup(folder.path());
    let mut text = fs::read_to_string(&setup).unwrap();
    for unit in 2..=100 {
        write!(
            text,
            "[[loops]]\nname = \"loop-{unit}\"\nline = \"bench\"\n"
        )
        .unwrap();
        writeln!(
            text,
            "unit_number = {unit}\nmap = \"map.toml\"\nevery = \"1 s\""
        )
        .unwrap();
    }
    fs::write(&setup, text).unwrap();
    let program = env!("CARGO_BIN_EXE_emberline");
    let script = format!(
        "ulimit -S -n 256; exec {program} record setup.toml --into . --for 1s --listen-first 0s"
    );
    let ended = std::process::Command::new("sh")
        .args(["-c", &script])
        .current_dir(folder.path())
        .output()
        .unwrap();
    assert!(ended.status.success(), "{ended:?}");
    let recording = folder
        .path()
        .join(String::from_utf8(ended.stdout).unwrap().trim());
    let verified = emberline(&["verify", recording.to_str().unwrap(), "--json"]);
    assert_eq!(verified.code, Some(0), "{verified}");
    assert_eq!(verified.json()["loops"].as_array().unwrap().len(), 100);
}
