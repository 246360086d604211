//! A line that another master polls: refused by those who ask, read by those who only listen.

use std::path::Path;

use mock_device::registers::Annealer;
use mock_device::wire::listen::Framing;
use tempfile::tempdir;

use super::device::{Device, LOOP, Plug, alter};
use super::{AT_ONCE, Running, emberline, recording_in, rows, until};

const RTU: Plug = Plug::Tcp(Framing::Rtu);

/// Everything of the annealer's map that is trended, often.
const PANEL: [&str; 2] = ["1:3:0:5 every 50ms", "1:3:100:3 every 1s"];

/// The plugs on which others can be heard.
fn plugs() -> Vec<Plug> {
    vec![
        RTU,
        #[cfg(unix)]
        Plug::Pty,
    ]
}

fn setup(device: &Device, folder: &Path) -> String {
    device.setup(folder).display().to_string()
}

#[test]
fn every_command_that_would_ask_stops_where_another_master_talks() {
    for plug in plugs() {
        let device = Device::polled_by_another(plug, &["1:3:0:5 every 250ms"]);
        let folder = tempdir().unwrap();
        let setup = setup(&device, folder.path());
        let into = folder.path().join("recordings");
        let into_text = into.to_str().unwrap();
        let listening = format!("listening for somebody else on {} for 1 s", device.port);
        for words in [
            &["read", &setup][..],
            &["record", &setup, "--into", into_text],
            &["await", &setup, "--until", "tuned"],
        ] {
            let ended = emberline(&[words, &["--listen-first", "1s"]].concat());
            let heard = [
                &listening,
                "another master talks on",
                &device.port,
                "unit 1 function 03, one request every ",
                "help: ",
                "--listen-only",
                "--listen-first 0s",
            ];
            ended.failed_with(3, &heard);
            assert!(!into.exists(), "{words:?} left something behind");
        }
        let all_the_same = emberline(&[&["read", &setup][..], &AT_ONCE].concat());
        assert!(
            !all_the_same.err.contains("another master talks"),
            "{all_the_same}"
        );
    }
}

#[test]
fn a_quiet_line_is_asked_after_the_listening() {
    let device = Device::start(RTU, &Annealer);
    let folder = tempdir().unwrap();
    let words = [
        "read",
        &setup(&device, folder.path()),
        "--listen-first",
        "200ms",
    ];
    let ended = emberline(&words);
    assert_eq!(ended.code, Some(0), "{ended}");
    let listening = format!(
        "listening for somebody else on {} for 200 ms\n",
        device.port
    );
    assert_eq!(ended.err, listening);
}

#[test]
fn what_another_master_reads_is_recorded_and_the_recording_says_so() {
    for plug in plugs() {
        let device = Device::polled_by_another(plug, &PANEL);
        let folder = tempdir().unwrap();
        let setup = setup(&device, folder.path());
        let into = folder.path().join("recordings");
        let words = [
            "record",
            &setup,
            "--into",
            into.to_str().unwrap(),
            "--listen-only",
        ];
        let recorder = Running::start(&[&words[..], &["--for", "3s"]].concat());
        let recording = recording_in(&into);
        until("a good row", || {
            let rows = rows(&recording, LOOP);
            rows.iter().any(|row| row[2] == "good").then_some(())
        });
        let ended = recorder.end();
        assert_eq!(ended.code, Some(0), "{ended}");
        assert!(ended.err.contains("listening only on "), "{ended}");
        let rows = rows(&recording, LOOP);
        assert_eq!(rows.len(), 30, "a row for every scheduled poll");
        let good = rows.iter().filter(|row| row[2] == "good");
        assert!(good.clone().count() > 3, "{rows:?}");
        assert!(good.clone().all(|row| row[4] == "490.0"), "{rows:?}");
        let facts = std::fs::read_to_string(recording.join("recording.toml")).unwrap();
        assert!(facts.contains("\nlisten_only = true\n"), "{facts}");
        // And everything that reads recordings can read it.
        let measured = emberline(&["measure", recording.to_str().unwrap()]);
        assert_eq!(measured.code, Some(0), "{measured}");
    }
}

#[test]
fn read_only_listens_until_every_trend_point_was_heard() {
    let device = Device::polled_by_another(RTU, &PANEL);
    let folder = tempdir().unwrap();
    let words = [
        "read",
        &setup(&device, folder.path()),
        "--listen-only",
        "--json",
    ];
    let ended = emberline(&words);
    assert_eq!(ended.code, Some(0), "{ended}");
    let points = ended.json()["loops"][0]["points"].clone();
    assert_eq!(points[1]["value"], 490.0, "{points}");
    assert_eq!(points[1]["state"], "good", "{points}");
}

#[test]
fn what_nobody_asks_for_is_named_with_what_is_asked() {
    let device = Device::polled_by_another(RTU, &["1:3:1:1 every 50ms"]);
    let folder = tempdir().unwrap();
    let setup = setup(&device, folder.path());
    let ended = emberline(&["read", &setup, "--listen-only", "--listen-for", "2s"]);
    assert_eq!(ended.code, Some(0), "{ended}");
    assert!(ended.err.contains("nobody asked unit 1"), "{ended}");
    assert!(
        ended.err.contains("asked were holding registers 1\n"),
        "{ended}"
    );
    assert!(ended.out.contains("not asked"), "{ended}");
}

#[test]
fn where_nobody_polls_that_is_said_with_what_to_check() {
    let device = Device::start(RTU, &Annealer);
    let folder = tempdir().unwrap();
    let setup = setup(&device, folder.path());
    let ended = emberline(&["read", &setup, "--listen-only", "--listen-for", "300ms"]);
    let advice = [
        "nothing at all was heard on",
        &device.port,
        "help: ",
        "nobody polls",
    ];
    ended.failed_with(3, &advice);
    // And a unit that nobody asks, beside one that is.
    let device = Device::polled_by_another(RTU, &["1:3:0:5 every 50ms"]);
    let path = device.setup(folder.path());
    alter(&path, "unit_number = 1", "unit_number = 9");
    let ended = emberline(&["read", &setup, "--listen-only", "--listen-for", "300ms"]);
    ended.failed_with(
        3,
        &[
            "no read of unit 9 was heard",
            "unit 1 function 03",
            "help: ",
        ],
    );
}

#[test]
fn behind_a_gateway_there_is_nothing_to_listen_to() {
    let device = Device::start(Plug::Tcp(Framing::Tcp), &Annealer);
    let folder = tempdir().unwrap();
    let setup = setup(&device, folder.path());
    let into = folder.path().join("recordings");
    for words in [
        &["read", &setup][..],
        &["record", &setup, "--into", into.to_str().unwrap()],
        &["watch", &setup],
    ] {
        let ended = emberline(&[words, &["--listen-only"]].concat());
        ended.failed_with(
            2,
            &["line 'bench'", "Modbus TCP gateway", &device.port, "help: "],
        );
        assert!(!into.exists());
    }
    // Nor is there a wait before a question.
    let ended = emberline(&["read", &setup]);
    assert_eq!((ended.code, ended.err.as_str()), (Some(0), ""), "{ended}");
}

#[test]
fn a_recording_that_goes_on_is_not_held_up_by_listening() {
    let device = Device::start(RTU, &Annealer);
    let folder = tempdir().unwrap();
    let setup = setup(&device, folder.path());
    let into = folder.path().join("recordings");
    let words = ["record", &setup, "--into", into.to_str().unwrap()];
    let killed = Running::start(&[&words[..], &AT_ONCE].concat());
    let recording = recording_in(&into);
    until("a row", || rows(&recording, LOOP).first().map(|_| ()));
    drop(killed);
    let ended = Running::start(&[&words[..], &["--for", "2s"]].concat()).end();
    assert_eq!(ended.code, Some(0), "{ended}");
    assert!(!ended.err.contains("listening for"), "{ended}");
    assert_eq!(ended.out.trim(), recording.to_str().unwrap());
}
