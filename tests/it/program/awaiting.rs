//! `await`: 0 when it is so, 1 when it is not or never will be.

use std::path::{Path, PathBuf};

use mock_device::controller::Tuning;
use mock_device::registers::Annealer;
use mock_device::wire::listen::Framing;
use tempfile::{TempDir, tempdir};

use super::device::{Device, LOOP, Plug};
use super::{AT_ONCE, Ended, Running, emberline, events, recording_in, rows, until};

/// A recorder at work on a device, and the recording it writes.
struct Bench {
    device: Device,
    recording: PathBuf,
    recorder: Running,
    folder: TempDir,
}

impl Bench {
    fn start(device: Device) -> Self {
        let folder = tempdir().unwrap();
        device.setup(folder.path());
        Self {
            device,
            recorder: record(folder.path()),
            recording: recording_in(&folder.path().join("recordings")),
            folder,
        }
    }

    /// Kills the recorder and starts it again.
    fn restart(&mut self) {
        self.recorder.kill();
        self.recorder = record(self.folder.path());
    }

    fn await_start(&self, until: &str, options: &[&str]) -> Running {
        let words = [
            "await",
            self.recording.to_str().unwrap(),
            "--until",
            until,
            "--json",
        ];
        Running::start(&[&words, options].concat())
    }

    fn happened(&self, event: &str) {
        until(event, || {
            events(&self.recording, LOOP)
                .contains(&event.to_owned())
                .then_some(())
        });
    }
}

fn record(folder: &Path) -> Running {
    let (setup, into) = (folder.join("setup.toml"), folder.join("recordings"));
    let (setup, into) = (setup.to_str().unwrap(), into.to_str().unwrap());
    let words = ["record", setup, "--into", into];
    Running::start(&[&words[..], &AT_ONCE].concat())
}

/// Checks the exit code and the document.
#[track_caller]
fn says(ended: &Ended, code: i32, text: &str) {
    assert_eq!(ended.code, Some(code), "{ended}");
    let document = ended.json();
    assert_eq!(document["happened"], code == 0, "{ended}");
    assert!(document["text"].as_str().unwrap().contains(text), "{ended}");
}

#[test]
fn a_tune_is_awaited_on_a_running_recording_and_afterwards_it_counts_at_once() {
    let bench = Bench::start(Device::in_a_hurry());
    let waiting = bench.await_start("tuned", &["--loop", LOOP, "--within", "2m"]);
    bench.device.panel.start_autotune().unwrap();
    let ended = waiting.end();
    says(&ended, 0, "tuned: ");
    assert_eq!(ended.json()["loop"], LOOP);
    says(
        &bench.await_start("tuned", &["--within", "1s"]).end(),
        0,
        "tuned: ",
    );
}

#[test]
fn a_tune_that_was_stopped_is_certain_to_fail() {
    let bench = Bench::start(Device::start(Plug::Tcp(Framing::Rtu), &Annealer));
    bench.device.panel.start_autotune().unwrap();
    bench.happened("autotune-began");
    let waiting = bench.await_start("tuned", &["--within", "2m"]);
    bench.device.panel.abort_autotune();
    says(&waiting.end(), 1, "the tuning is as before");
}

#[test]
fn a_controller_that_comes_back_in_the_middle_of_a_tune_has_not_tuned() {
    let mut bench = Bench::start(Device::start(Plug::Tcp(Framing::Rtu), &Annealer));
    bench.device.panel.start_autotune().unwrap();
    bench.happened("autotune-began");
    let waiting = bench.await_start("tuned", &["--within", "2m"]);
    // As after a power cut: it has another tuning, and tunes no more.
    bench.device.unplug();
    bench.device.panel.abort_autotune();
    let maker = Tuning {
        band: 50.0,
        integral_s: 200.0,
        derivative_s: 0.0,
    };
    bench.device.panel.set_tuning(maker).unwrap();
    until("a few lost polls", || {
        let lost = rows(&bench.recording, LOOP).into_iter();
        let lost = lost.filter(|row| row.contains(&"port-lost".to_owned()));
        (lost.count() > 4).then_some(())
    });
    bench.device.plug_in();
    says(&waiting.end(), 1, "nothing was heard");
}

#[test]
fn a_fault_is_awaited_on_a_running_recording() {
    let bench = Bench::start(Device::start(Plug::Tcp(Framing::Rtu), &Annealer));
    let waiting = bench.await_start("fault", &["--within", "2m"]);
    bench.device.panel.break_sensor();
    says(&waiting.end(), 0, "sensor open");
}

fn on_line(device: &Device, folder: &Path, options: &[&str]) -> Ended {
    let setup = device.setup(folder);
    let words = ["await", setup.to_str().unwrap(), "--json"];
    emberline(&[&words[..], &AT_ONCE, options].concat())
}

#[test]
fn on_a_line_it_is_in_band_or_the_time_runs_out() {
    let folder = tempdir().unwrap();
    let device = Device::start(Plug::Tcp(Framing::Rtu), &Annealer);
    let in_band = ["--until", "in-band"];
    says(&on_line(&device, folder.path(), &in_band), 0, "in band");
    let tuned = ["--until", "tuned", "--within", "300ms"];
    says(
        &on_line(&device, folder.path(), &tuned),
        1,
        "the time ran out",
    );
    device.panel.set_setpoint(510.0).unwrap();
    let in_band = ["--until", "in-band", "--within", "300ms"];
    says(
        &on_line(&device, folder.path(), &in_band),
        1,
        "the time ran out",
    );
}

#[test]
fn a_line_that_is_recorded_is_awaited_in_its_recording() {
    let bench = Bench::start(Device::start(Plug::Tcp(Framing::Rtu), &Annealer));
    let setup = bench.device.setup(bench.folder.path());
    let words = [
        "await",
        setup.to_str().unwrap(),
        "--until",
        "in-band",
        "--json",
    ];
    let ended = until("an owner", || {
        let ended = emberline(&words);
        ended.err.contains("read by process").then_some(ended)
    });
    says(&ended, 0, "in band");
    assert!(
        ended.err.contains(bench.recording.to_str().unwrap()),
        "{ended}"
    );
    // Another loop than those recorded cannot be looked at anywhere.
    super::device::alter(&setup, "unit_number = 1", "unit_number = 9");
    emberline(&words).failed_with(3, &["is polled by process", "help: "]);
}

#[cfg(unix)]
#[test]
fn a_recording_that_has_ended_is_answered_from_what_is_there_or_refused_at_once() {
    let bench = Bench::start(Device::start(Plug::Tcp(Framing::Rtu), &Annealer));
    until("a few rows", || {
        (rows(&bench.recording, LOOP).len() > 3).then_some(())
    });
    bench.recorder.signal("TERM");
    assert_eq!(bench.recorder.end().code, Some(0));
    let recording = bench.recording.to_str().unwrap();
    let on = |until: &str| emberline(&["await", recording, "--until", until, "--json"]);
    says(&on("in-band"), 0, "in band");
    says(&on("tuned"), 1, "the recording ended at 20");
}

#[test]
fn a_recording_that_nobody_writes_is_not_awaited_for_ever() {
    let bench = Bench::start(Device::start(Plug::Tcp(Framing::Rtu), &Annealer));
    bench.happened("recording-began");
    let recording = bench.recording.clone();
    drop(bench.recorder);
    let words = [
        "await",
        recording.to_str().unwrap(),
        "--until",
        "tuned",
        "--json",
    ];
    says(
        &emberline(&words),
        1,
        "nobody is writing the recording: it was not closed",
    );
}

#[test]
fn a_restart_in_between_does_not_end_the_waiting() {
    let mut bench = Bench::start(Device::start(Plug::Tcp(Framing::Rtu), &Annealer));
    let waiting = bench.await_start("fault", &["--within", "2m"]);
    bench.happened("recording-began");
    bench.restart();
    bench.happened("restart");
    bench.device.panel.break_sensor();
    says(&waiting.end(), 0, "sensor open");
}

#[test]
fn what_is_no_recording_is_not_taken_for_a_setup() {
    let folder = tempdir().unwrap();
    let path = folder.path().to_str().unwrap();
    for words in [
        &["await", path, "--until", "tuned"][..],
        &["read", path],
        &["watch", "--follow", path],
    ] {
        let ended = emberline(words);
        ended.failed_with(
            4,
            &[path, "is no recording", "help: name a recording's folder"],
        );
        assert!(!ended.err.contains("setup"), "{ended}");
    }
}
