//! A real disk that is full for a while: a file system of two megabytes in memory.

use std::fs;
use std::io::{self, Write as _};
use std::path::{Path, PathBuf};
use std::process::Command;

use mock_device::registers::Annealer;
use mock_device::wire::listen::Framing;
use tempfile::tempdir;

use super::device::{Device, LOOP, Plug, alter};
use super::{Running, emberline, events, recording_in, rows, until};

/// A small file system, mounted until this is dropped.
struct SmallDisk(PathBuf);

impl SmallDisk {
    /// `None` where mounting is not allowed.
    fn mount(at: &Path) -> Option<Self> {
        fs::create_dir(at).unwrap();
        let words = ["-t", "tmpfs", "-o", "size=2m", "emberline-test"];
        let mounted = Command::new("mount").args(words).arg(at).output();
        let is_mounted = mounted.is_ok_and(|it| it.status.success());
        is_mounted.then(|| Self(at.to_owned()))
    }

    /// Writes a file until nothing more fits.
    fn fill(&self) -> PathBuf {
        let path = self.0.join("ballast");
        let mut ballast = fs::File::create(&path).unwrap();
        while ballast.write(&[0; 4096]).is_ok_and(|count| count > 0) {}
        path
    }
}

impl Drop for SmallDisk {
    fn drop(&mut self) {
        let unmounted = Command::new("umount").arg("--lazy").arg(&self.0).status();
        assert!(unmounted.unwrap().success());
    }
}

#[test]
fn a_real_disk_that_was_full_gets_every_row_when_there_is_room_again() {
    let folder = tempdir().unwrap();
    let Some(disk) = SmallDisk::mount(&folder.path().join("disk")) else {
        // Not captured, unlike what a macro prints.
        let skipped = "SKIPPED the test on a real full disk: mounting a tmpfs needs root";
        writeln!(io::stderr(), "{skipped}").unwrap();
        return;
    };
    let device = Device::start(Plug::Tcp(Framing::Tcp), &Annealer);
    let setup = device.setup(folder.path());
    alter(&setup, "every = \"100 ms\"", "every = \"10 ms\"");
    let into = disk.0.join("recordings");
    let words = [
        "record",
        setup.to_str().unwrap(),
        "--into",
        into.to_str().unwrap(),
        "--sync",
        "200ms",
    ];
    let recorder = Running::start(&words);
    let recording = recording_in(&into);
    let count = || rows(&recording, LOOP).len();
    until("some rows", || (count() > 20).then_some(()));

    let ballast = disk.fill();
    let (mut last, mut looks) = (0, 0);
    until("an end of the rows", || {
        let now = count();
        looks = if now == last { looks + 1 } else { 0 };
        last = now;
        (looks > 50).then_some(())
    });
    fs::remove_file(ballast).unwrap();
    until("the disk's return", || {
        let events = events(&recording, LOOP);
        events.contains(&"disk-back".to_owned()).then_some(())
    });
    recorder.signal("TERM");
    let ended = recorder.end();
    assert_eq!(ended.code, Some(0), "{ended}");

    assert!(count() > last + 50, "{last} rows, then {}", count());
    assert!(
        ended
            .err
            .contains("the disk is full: recording goes on in memory, which has room for about"),
        "{ended}"
    );
    assert!(ended.err.contains("the disk takes rows again"), "{ended}");
    let told = events(&recording, LOOP);
    let told: Vec<&str> = told.iter().map(String::as_str).collect();
    let troubles = told.iter().filter(|it| **it == "disk-failed").count();
    assert_eq!(troubles, 1, "{told:?}");
    let verified = emberline(&["verify", recording.to_str().unwrap(), "--json"]);
    assert_eq!(verified.code, Some(0), "{verified}");
    let states = &verified.json()["loops"][0]["states"];
    assert!(states["not-running"].is_null(), "{states}");
}
