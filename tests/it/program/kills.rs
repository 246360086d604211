//! A recorder that is killed again and again: no row that was complete is lost, and every restart
//! goes on with the same recording.
//!
//! `EMBERLINE_KILLS=500 cargo test --test it kill` does it more often.

use std::fs;
use std::path::Path;
use std::thread;
use std::time::Duration;

use mock_device::registers::Annealer;
use mock_device::wire::listen::Framing;
use tempfile::tempdir;

use super::device::{Device, LOOP, Plug, alter};
use super::{Running, emberline, events, recording_in, until};

const KILLS: u64 = 30;

/// Every file of a loop, up to its last whole row.
fn whole_files(recording: &Path) -> Vec<(String, String)> {
    let mut files: Vec<(String, String)> = fs::read_dir(recording.join(LOOP))
        .unwrap()
        .map(|entry| entry.unwrap().path())
        .filter(|path| path.extension().is_some_and(|end| end == "csv"))
        .map(|path| {
            let text = fs::read_to_string(&path).unwrap();
            let whole = text.rfind('\n').map_or(0, |end| end + 1);
            (path.display().to_string(), text[..whole].to_owned())
        })
        .collect();
    files.sort();
    files
}

/// Checks that the recording is whole as far as it goes, and that nothing of `before` is lost.
#[track_caller]
fn check(recording: &Path, before: &[(String, String)]) -> Vec<(String, String)> {
    let verified = emberline(&["verify", recording.to_str().unwrap(), "--json"]);
    assert_eq!(verified.code, Some(0), "{verified}");
    let files = whole_files(recording);
    for (name, text) in before {
        let now = files.iter().find(|(file, _)| file == name);
        let now = now.map_or("", |(_, text)| text);
        assert!(now.starts_with(text.as_str()), "{name} has lost rows");
    }
    files
}

#[test]
fn no_whole_row_is_lost_however_often_the_recorder_is_killed() {
    let given = std::env::var("EMBERLINE_KILLS").ok();
    let kills = given.map_or(KILLS, |text| text.parse().unwrap());
    let device = Device::start(Plug::Tcp(Framing::Tcp), &Annealer);
    let folder = tempdir().unwrap();
    let setup = device.setup(folder.path());
    alter(&setup, "every = \"100 ms\"", "every = \"10 ms\"");
    let into = folder.path().join("recordings");
    let words = [
        "record",
        setup.to_str().unwrap(),
        "--into",
        into.to_str().unwrap(),
    ];
    let mut random = 0x9E37_79B9_u64;
    let (mut before, mut restarts) = (Vec::new(), 0);
    for _ in 0..kills {
        let recorder = Running::start(&words);
        let recording = recording_in(&into);
        let restarted = || {
            events(&recording, LOOP)
                .iter()
                .filter(|it| *it == "restart")
                .count()
        };
        // The first is none.
        until("a restart", || (restarted() >= restarts).then_some(()));
        // At any instant of the next tenth of a second (a linear congruential generator).
        random = random
            .wrapping_mul(6_364_136_223_846_793_005)
            .wrapping_add(1);
        thread::sleep(Duration::from_micros((random >> 33) % 100_000));
        drop(recorder);
        before = check(&recording, &before);
        restarts = restarted() + 1;
    }
    let last = emberline(&[&words[..], &["--for", "1ms"]].concat());
    assert_eq!(last.code, Some(0), "{last}");
    let recording = recording_in(&into);
    check(&recording, &before);
    let verified = emberline(&["verify", recording.to_str().unwrap(), "--json"]).json();
    assert!(verified["ended"].is_string(), "{verified}");
    assert!(
        verified["loops"][0]["states"]["not-running"]
            .as_u64()
            .unwrap()
            > 0
    );
    assert_eq!(
        fs::read_dir(&into).unwrap().count(),
        1,
        "one recording in all"
    );
    assert_eq!(restarts as u64, kills);
}
