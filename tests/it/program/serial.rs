//! A serial port: a pseudo-terminal stands for the adapter.

use mock_device::registers::Annealer;
use tempfile::tempdir;

use super::device::{Device, LOOP, Plug};
use super::{AT_ONCE, Running, emberline, recording_in, rows, states, until};

#[test]
fn a_serial_port_is_read_and_while_it_is_taken_others_read_through_its_owner() {
    let device = Device::start(Plug::Pty, &Annealer);
    let folder = tempdir().unwrap();
    let setup = device.setup(folder.path());
    let setup = setup.to_str().unwrap();
    let words = |words: &[&'static str]| [words, &[setup], &AT_ONCE].concat();
    let read = emberline(&words(&["read", "--json"]));
    assert_eq!((read.code, read.err.as_str()), (Some(0), ""), "{read}");
    assert_eq!(read.json()["loops"][0]["points"][1]["value"], 490.0);

    let into = folder.path().join("recordings");
    let into = into.to_str().unwrap();
    let recorder = Running::start(&[&words(&["record"])[..], &["--into", into]].concat());
    let recording = recording_in(into.as_ref());
    until("a row", || rows(&recording, LOOP).first().map(|_| ()));
    let through = emberline(&words(&["read", "--json"]));
    assert_eq!(
        (through.code, through.err.as_str()),
        (Some(0), ""),
        "{through}"
    );
    let through = through.json();
    assert_eq!(through["loops"][0]["points"][1]["value"], 490.0);
    assert_eq!(through["notes"][0]["code"], "read-through");
    let elsewhere = folder.path().join("elsewhere");
    let elsewhere_text = elsewhere.to_str().unwrap();
    let second = emberline(&["record", setup, "--into", elsewhere_text]);
    second.failed_with(3, &[&device.port, "is polled by process", "help: "]);
    assert!(!elsewhere.exists());

    recorder.signal("TERM");
    assert_eq!(recorder.end().code, Some(0));
    let states = states(&recording, LOOP);
    assert!(states.iter().all(|state| state == "good"), "{states:?}");
    // The port is free again.
    assert_eq!(emberline(&words(&["read"])).code, Some(0));
}
