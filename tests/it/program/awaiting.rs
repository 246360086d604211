//! `await`: 0 when it is so, 1 when it is not or never will be.

use std::path::{Path, PathBuf};

use mock_device::registers::Annealer;
use mock_device::wire::listen::Framing;
use tempfile::{TempDir, tempdir};

use super::device::{Device, LOOP, Plug};
use super::{AT_ONCE, Ended, Running, emberline, events, recording_in, until};

/// A recorder at work on a device, and the recording it writes.
struct Bench {
    device: Device,
    recording: PathBuf,
    _recorder: Running,
    _folder: TempDir,
}

impl Bench {
    fn start(device: Device) -> Self {
        let folder = tempdir().unwrap();
        let setup = device.setup(folder.path());
        let into = folder.path().join("recordings");
        let words = [
            "record",
            setup.to_str().unwrap(),
            "--into",
            into.to_str().unwrap(),
        ];
        let recorder = Running::start(&[&words[..], &AT_ONCE].concat());
        Self {
            device,
            recording: recording_in(&into),
            _recorder: recorder,
            _folder: folder,
        }
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
