//! `find`: which units answer, at which settings.

#[cfg(unix)]
use std::io::{BufRead as _, BufReader};

use mock_device::registers::Annealer;
use mock_device::wire::listen::Framing;
use serde_json::{Value, json};
use tempfile::tempdir;

use super::device::{Device, Plug};
use super::{AT_ONCE, emberline};
#[cfg(unix)]
use super::{Ended, Running};

/// The words that ask on a device's line.
fn words<'a>(key: &'a str, device: &'a Device, options: &[&'a str]) -> Vec<&'a str> {
    [&["find", key, &device.port][..], &AT_ONCE, options].concat()
}

#[cfg(unix)]
fn units(ended: &Ended) -> Vec<u64> {
    let found = ended.json()["found"].as_array().unwrap().clone();
    found
        .iter()
        .map(|unit| unit["unit"].as_u64().unwrap())
        .collect()
}

#[test]
fn units_are_found_on_tcp_and_what_is_printed_is_a_setup_that_works() {
    for (key, framing) in [("--tcp", Framing::Tcp), ("--rtu-over-tcp", Framing::Rtu)] {
        let device = Device::of_units(Plug::Tcp(framing), &[2, 9]);
        let ended = emberline(&words(key, &device, &["--unit-numbers", "1-3,9"]));
        assert_eq!(ended.code, Some(0), "{ended}");
        let first = format!(
            "{} {}",
            if key == "--tcp" {
                "Modbus TCP"
            } else {
                "RTU over TCP"
            },
            device.port
        );
        assert!(
            ended
                .out
                .starts_with(&format!("# 2 units answer on {first}:")),
            "{ended}"
        );
        assert!(
            ended.out.contains("03; 04 refused (illegal function)"),
            "{ended}"
        );

        // With the maps written, the output as it is can be read with.
        let folder = tempdir().unwrap();
        let setup = folder.path().join("setup.toml");
        std::fs::write(&setup, &ended.out).unwrap();
        std::fs::create_dir(folder.path().join("maps")).unwrap();
        let map = folder.path().join("maps/controller.toml");
        std::fs::write(map, mock_device::registers::Layout::map_text(&Annealer)).unwrap();
        let words = ["read", setup.to_str().unwrap(), "--json"];
        let read = emberline(&[&words[..], &AT_ONCE].concat());
        assert_eq!((read.code, read.err.as_str()), (Some(0), ""), "{read}");
        assert_eq!(read.json()["loops"].as_array().unwrap().len(), 2);
    }
}

#[test]
fn its_document_has_the_contracts_names() {
    let device = Device::of_units(Plug::Tcp(Framing::Rtu), &[7]);
    let options = ["--unit-numbers", "7", "--json"];
    let ended = emberline(&words("--rtu-over-tcp", &device, &options));
    let mut document = ended.json();
    let found = document["found"][0].as_object_mut().unwrap();
    assert!(found.remove("answer_ms").is_some_and(|it| it.is_number()));
    let refused = json!([{ "function": "04", "exception": 1, "meaning": "illegal function" }]);
    let expected = json!({
        "unit": 7, "baud": null, "parity": null, "stop_bits": null,
        "answers": ["03"], "refused": refused, "identification": null,
    });
    assert_eq!(Value::from(found.clone()), expected);
    assert_eq!(document["complete"], true);
    assert!(
        document["setup"]
            .as_str()
            .unwrap()
            .contains("unit_number = 7")
    );
}

#[test]
fn where_nobody_answers_it_says_what_is_often_forgotten() {
    let device = Device::of_units(Plug::Tcp(Framing::Rtu), &[1]);
    let options = ["--unit-numbers", "2-3", "--answer-within", "50ms"];
    let ended = emberline(&words("--rtu-over-tcp", &device, &options));
    let forgotten = [
        "nothing answered",
        "Modbus RTU at its panel",
        "A and B",
        "another master",
    ];
    ended.failed_with(3, &forgotten);
    assert_eq!(ended.out, "");
    let help = emberline(&["find", "--help"]).out;
    assert!(
        forgotten[1..].iter().all(|text| help.contains(text)),
        "{help}"
    );

    let json = emberline(&words(
        "--rtu-over-tcp",
        &device,
        &[&options[..], &["--json"]].concat(),
    ));
    assert_eq!(json.code, Some(3), "{json}");
    assert_eq!(
        json.json(),
        json!({ "found": [], "complete": true, "setup": null })
    );
}

#[test]
fn a_port_that_cannot_be_used_is_named() {
    emberline(&["find", "--serial", "no-such-port"]).failed_with(3, &["no-such-port", "help: "]);
    emberline(&["find", "--serial", "usb:0000:0000:no-such"])
        .failed_with(3, &["no adapter usb:0000:0000:no-such", "help: "]);
    // Nobody listens at a port that was free a moment ago.
    let mut device = Device::of_units(Plug::Tcp(Framing::Tcp), &[1]);
    device.unplug();
    emberline(&["find", "--tcp", &device.port]).failed_with(3, &[&device.port, "help: "]);
}

#[test]
fn a_map_is_to_be_written_before_the_setup_can_be_used() {
    let device = Device::of_units(Plug::Tcp(Framing::Tcp), &[1]);
    let ended = emberline(&words("--tcp", &device, &["--unit-numbers", "1"]));
    let folder = tempdir().unwrap();
    let setup = folder.path().join("setup.toml");
    std::fs::write(&setup, &ended.out).unwrap();
    let read = emberline(&["read", setup.to_str().unwrap()]);
    read.failed_with(2, &["setup.toml:", "controller.toml"]);
}

#[test]
fn without_a_port_it_lists_those_there_are() {
    let listed = emberline(&["find", "--json"]);
    let ports = listed.json()["ports"].as_array().unwrap().clone();
    // What a machine has differs: the document and the exit code agree.
    assert_eq!(
        listed.code,
        Some(if ports.is_empty() { 3 } else { 0 }),
        "{listed}"
    );
    let text = emberline(&["find"]);
    assert_eq!(text.out.lines().count(), ports.len(), "{text}");
    for (line, port) in text.out.lines().zip(&ports) {
        assert!(line.starts_with(port["name"].as_str().unwrap()), "{text}");
        assert!(line.contains("serial = "), "{text}");
    }
}

#[cfg(unix)]
#[test]
fn three_units_on_a_serial_port_are_found_at_the_only_rate_they_understand() {
    let device = Device::of_units(Plug::PtyAt(19_200), &[1, 5, 17]);
    let options = [
        "--baud",
        "9600,19200,38400",
        "--parity",
        "even",
        "--unit-numbers",
        "1-6,17",
        "--answer-within",
        "100ms",
        "--json",
    ];
    let ended = emberline(&words("--serial", &device, &options));
    assert_eq!(ended.code, Some(0), "{ended}");
    assert_eq!(units(&ended), [1, 5, 17]);
    for unit in ended.json()["found"].as_array().unwrap() {
        let setting = (&unit["baud"], &unit["parity"], &unit["stop_bits"]);
        assert_eq!(
            setting,
            (&json!(19_200), &json!("even"), &json!(1)),
            "{ended}"
        );
    }
    assert!(ended.err.contains("found unit 17"), "{ended}");
}

#[cfg(unix)]
#[test]
fn stopped_midway_it_shows_what_was_found() {
    let device = Device::of_units(Plug::Pty, &[1, 2]);
    let mut running = Running::start(&words("--serial", &device, &["--json"]));
    let progress = running.0.as_mut().unwrap().stderr.take().unwrap();
    let mut lines = BufReader::new(progress).lines().map(Result::unwrap);
    assert!(lines.any(|line| line.starts_with("found unit 2 ")));
    running.signal("INT");
    let rest: Vec<String> = lines.collect();
    let ended = running.end();
    assert_eq!(
        (ended.code, units(&ended)),
        (Some(0), vec![1, 2]),
        "{ended}"
    );
    assert_eq!(ended.json()["complete"], false);
    assert!(
        rest.iter().any(|line| line.contains("ended early")),
        "{rest:?}"
    );
}
