//! `read`, and what every command says of a line that is not as it should be.

use std::net::TcpListener;

use mock_device::registers::{Annealer, Floats, Layout};
use mock_device::wire::listen::Framing;
use tempfile::tempdir;

use super::device::{Device, LOOP, Plug, alter, setup};
use super::{AT_ONCE, Ended, emberline};

const RTU: Plug = Plug::Tcp(Framing::Rtu);

fn read(device: &Device, options: &[&str]) -> Ended {
    let folder = tempdir().unwrap();
    let setup = device.setup(folder.path());
    emberline(&[&["read", setup.to_str().unwrap()], &AT_ONCE[..], options].concat())
}

#[test]
fn read_gives_the_contracts_names_on_every_wire_and_layout() {
    let layouts: [&dyn Layout; 2] = [&Annealer, &Floats];
    for layout in layouts {
        for framing in [Framing::Rtu, Framing::Tcp] {
            let ended = read(&Device::start(Plug::Tcp(framing), layout), &["--json"]);
            assert_eq!((ended.code, ended.err.as_str()), (Some(0), ""), "{ended}");
            let document = ended.json();
            let only = &document["loops"][0];
            assert_eq!(only["loop"], LOOP);
            let time = only["time"].as_str().unwrap();
            assert!(chrono::DateTime::parse_from_rfc3339(time).is_ok(), "{time}");
            for point in only["points"].as_array().unwrap() {
                let object = point.as_object().unwrap();
                for name in ["name", "role", "value", "unit", "raw", "state"] {
                    assert!(object.contains_key(name), "{name} is missing in {point}");
                }
                assert!(
                    point["value"].is_number() && point["state"] == "good",
                    "{point}"
                );
            }
        }
    }
}

#[test]
fn a_broken_sensor_is_a_faulty_value_with_its_word_and_no_failure() {
    let device = Device::start(RTU, &Annealer);
    device.panel.break_sensor();
    // The controller sees it at its next scan, half a second on.
    let seen = super::until("the fault", || {
        let ended = read(&device, &["--json"]);
        assert_eq!(ended.code, Some(0), "{ended}");
        let point = ended.json()["loops"][0]["points"][0].clone();
        (point["state"] == "faulty").then_some(point)
    });
    assert!(seen["value"].is_null(), "{seen}");
    assert_eq!(seen["raw"], serde_json::json!(["0x7FFF"]));
}

#[test]
fn temperatures_are_shown_in_the_unit_that_is_asked_for_and_differences_without_the_32() {
    let device = Device::start(RTU, &Annealer);
    let read = |options: &[&str]| {
        let document = read(&device, &[&["--json"], options].concat()).json();
        let points = document["loops"][0]["points"].as_array().unwrap().clone();
        move |name: &str| {
            let point = points.iter().find(|it| it["name"] == name).unwrap();
            let value = point["value"].to_string();
            (value, point["unit"].as_str().unwrap_or_default().to_owned())
        }
    };
    let (own, shown) = (read(&[]), read(&["--in", "degF"]));
    let in_words = |(value, unit): (String, String)| format!("{value} {unit}");
    assert_eq!(in_words(own("sp")), "490.0 degC");
    assert_eq!(in_words(shown("sp")), "914.0 degF");
    let (band, unit) = own("band");
    let band: f64 = band.parse().unwrap();
    assert_eq!(unit, "degC");
    assert_eq!(in_words(shown("band")), format!("{:.1} degF", band * 1.8));
    assert_eq!(shown("ramp").1, "degF/min");
    assert_eq!(shown("out"), own("out"));
}

#[test]
fn a_reader_that_has_seen_enough_is_no_error() {
    let (reader, writer) = std::io::pipe().unwrap();
    drop(reader);
    let device = Device::start(RTU, &Annealer);
    let folder = tempdir().unwrap();
    let mut program = super::program();
    program
        .arg("read")
        .arg(device.setup(folder.path()))
        .args(AT_ONCE);
    let ended = Ended::of(program.stdout(writer).output().unwrap());
    assert_eq!((ended.code, ended.err.as_str()), (Some(0), ""), "{ended}");
}

#[test]
fn one_silent_unit_beside_one_that_answers_is_advised_on_alone() {
    let device = Device::start(RTU, &Annealer);
    let folder = tempdir().unwrap();
    let setup = device.setup(folder.path());
    let text = std::fs::read_to_string(&setup).unwrap();
    let (_, first) = text.split_once("[[loops]]").unwrap();
    let second = first.replace(LOOP, "bottom").replace("= 1", "= 9");
    std::fs::write(&setup, format!("{text}\n[[loops]]{second}")).unwrap();
    let words = ["read", setup.to_str().unwrap(), "--json"];
    let ended = emberline(&[&words[..], &AT_ONCE].concat());
    assert_eq!(ended.code, Some(3), "{ended}");
    let document = ended.json();
    let note = &document["notes"][0];
    assert_eq!(note["code"], "unit-silent", "{note}");
    assert_eq!(note["about"], "bottom", "{note}");
    let lost = |i: usize| &document["loops"][i]["health"]["lost"];
    assert_eq!(lost(0), &serde_json::json!({}));
    assert!(lost(1)["no-answer"].as_u64() > Some(0), "{}", lost(1));
}

#[test]
fn a_loop_that_is_not_there_is_wrong_use_and_those_that_are_are_listed() {
    let device = Device::start(RTU, &Annealer);
    let ended = read(&device, &["--loop", "bottom"]);
    ended.failed_with(2, &["no loop 'bottom'", &format!("its loops are {LOOP}")]);
}

#[test]
fn a_wrong_unit_number_is_named_with_its_line_and_what_to_check() {
    for framing in [Framing::Rtu, Framing::Tcp] {
        let device = Device::start(Plug::Tcp(framing), &Annealer);
        let folder = tempdir().unwrap();
        let setup = device.setup(folder.path());
        alter(&setup, "unit_number = 1", "unit_number = 9");
        alter(&setup, "\"1 s\"", "\"100 ms\"");
        let map = folder.path().join("map.toml");
        alter(
            &map,
            "max_words = 8",
            "max_words = 8\nlate_at_most = \"100 ms\"",
        );
        let words = ["read", setup.to_str().unwrap()];
        let ended = emberline(&[&words[..], &AT_ONCE].concat());
        ended.failed_with(3, &["unit 9 on ", &device.port, "help: ", "unit number"]);
        assert!(ended.out.contains("no-answer"), "{ended}");
        let said = ended.err.matches("help: ").count();
        assert_eq!(said, 1, "one way out for all blocks in {ended}");
        // However many blocks did not come, the way out is said once.
        assert_eq!(ended.err.matches("help: ").count(), 1, "{ended}");
        assert!(ended.err.contains("line bench: nothing at all"), "{ended}");
    }
}

/// Every command that opens a line and needs no terminal, with a folder for what it records.
fn on_every_command(setup: &std::path::Path, check: impl Fn(&Ended)) {
    let setup = setup.to_str().unwrap();
    let folder = tempdir().unwrap();
    let into = folder.path().join("recordings");
    let into_text = into.to_str().unwrap();
    for words in [
        &["read", setup][..],
        &["record", setup, "--into", into_text],
        &["await", setup, "--until", "tuned"],
    ] {
        check(&emberline(words));
        assert!(!into.exists(), "{words:?} left something behind");
    }
}

#[test]
fn a_port_that_is_not_there_is_named_and_nothing_is_left_behind() {
    let folder = tempdir().unwrap();
    let setup = setup(folder.path(), "serial", "no-such-port", &Annealer);
    on_every_command(&setup, |ended| {
        ended.failed_with(3, &["no-such-port", "help: plug the adapter in"]);
    });
}

#[test]
fn an_address_where_nobody_listens_is_named_and_nothing_is_left_behind() {
    let free = TcpListener::bind("127.0.0.1:0").unwrap();
    let address = free.local_addr().unwrap().to_string();
    drop(free);
    let folder = tempdir().unwrap();
    for key in ["tcp", "rtu_over_tcp"] {
        let setup = setup(folder.path(), key, &address, &Annealer);
        on_every_command(&setup, |ended| {
            ended.failed_with(
                3,
                &["no connection to", &address, "help: check the address"],
            );
        });
    }
}
