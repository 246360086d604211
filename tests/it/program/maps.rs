//! `map check`, `map new` and `map schema`: writing a map without hardware; and what `read` remarks
//! about one that is wrong.

use std::fs;
use std::path::Path;

use mock_device::registers::Floats;
use mock_device::wire::listen::Framing;
use serde_json::json;
use tempfile::tempdir;

use super::device::{Device, Plug, alter};
use super::{Ended, emberline};

fn check(map: &Path, options: &[&str]) -> Ended {
    emberline(&[&["map", "check", map.to_str().unwrap()], options].concat())
}

fn in_package(path: &str) -> String {
    let root = Path::new(env!("CARGO_MANIFEST_DIR"));
    root.join(path).to_str().unwrap().to_owned()
}

/// A map with so many points, each two registers behind the other; all but the process value have
/// these keys too.
fn apart(points: usize, keys: &str) -> String {
    let point = |index: usize| {
        let (role, keys) = match index {
            0 => ("process-value", ""),
            _ => ("other", keys),
        };
        format!(
            "[points.p{index}]\nrole = \"{role}\"\ntable = \"holding\"\naddress = {}\n\
             encoding = \"i16\"\nunit = \"degC\"\nvalid = [0, 900]\n{keys}",
            index * 2
        )
    };
    let points: String = (0..points).map(point).collect();
    format!("schema = 1\ntitle = \"Apart\"\n{points}")
}

#[test]
fn every_map_command_has_an_example() {
    for command in ["check", "new", "schema", "locate"] {
        let help = emberline(&["map", command, "--help"]);
        assert_eq!(help.code, Some(0), "{help}");
        assert!(
            help.out
                .contains(&format!("Example: emberline map {command}")),
            "{help}"
        );
    }
}

#[test]
fn a_checked_map_shows_its_reads_and_their_time_at_the_rate_of_the_line() {
    let map = in_package("configs/maps/annealer.toml");
    let map = Path::new(&map);
    let text = check(map, &[]);
    assert_eq!(text.code, Some(0), "{text}");
    assert!(text.out.contains("every poll: 1 read"), "{text}");
    assert!(text.out.contains("pv sp out tuning"), "{text}");
    assert!(text.err.contains("no mistakes, nothing doubtful"), "{text}");

    let takes = |options: &[&str]| {
        let ended = check(map, &[&["--json"], options].concat());
        assert_eq!((ended.code, ended.err.as_str()), (Some(0), ""), "{ended}");
        let document = ended.json();
        assert_eq!(
            (&document["errors"], &document["notes"]),
            (&json!([]), &json!([]))
        );
        let plan = &document["plan"];
        let read = &plan["trend"]["reads"][0];
        assert_eq!(
            (&read["table"], &read["address"], &read["count"]),
            (&json!("holding"), &json!(0), &json!(4))
        );
        plan["trend"]["takes_s"].as_f64().unwrap() - plan["turnaround_s"].as_f64().unwrap()
    };
    // Eight characters, five and eight of data, three and a half of silence; 11 bits each, or 10.
    let closed_form = |bits: f64, baud: f64| 24.5 * bits / baud;
    for (options, bits, baud) in [
        (&[][..], 11.0, 9600.0),
        (&["--baud", "19200", "--parity", "none"], 10.0, 19_200.0),
        (&["--parity", "8N2"], 11.0, 9600.0),
    ] {
        let (got, expected) = (takes(options), closed_form(bits, baud));
        assert!((got - expected).abs() < 1e-5, "{got} {expected}");
    }
}

#[test]
fn mistakes_end_with_2_and_doubts_with_0_in_text_and_json() {
    let bad = in_package("tests/files/bad/map-unknown-keys.toml");
    check(Path::new(&bad), &[]).failed_with(2, &["map-unknown-keys.toml:18:1", "did you mean"]);
    let ended = check(Path::new(&bad), &["--json"]);
    assert_eq!((ended.code, ended.err.as_str()), (Some(2), ""), "{ended}");
    let document = ended.json();
    assert_eq!(document["errors"].as_array().unwrap().len(), 3);
    assert_eq!(document["errors"][1]["line"], 18);
    assert!(document["plan"].is_null());

    let doubtful = in_package("tests/files/doubtful/map-without-some-roles.toml");
    let ended = check(Path::new(&doubtful), &[]);
    assert_eq!(ended.code, Some(0), "{ended}");
    assert!(ended.err.contains("no mistakes, 7 warnings"), "{ended}");
    let notes = check(Path::new(&doubtful), &["--json"]).json()["notes"].clone();
    let codes: Vec<&str> = notes
        .as_array()
        .unwrap()
        .iter()
        .map(|it| it["code"].as_str().unwrap())
        .collect();
    assert_eq!(codes.len(), 7, "{codes:?}");
    assert!(codes.contains(&"no-unit"), "{codes:?}");
    assert_eq!(notes[0]["about"], "pv");

    check(Path::new("nowhere.toml"), &[]).failed_with(2, &["nowhere.toml", "no such file"]);
}

#[test]
fn what_bridging_gaps_would_save_and_what_takes_too_long_is_said() {
    let folder = tempdir().unwrap();
    let map = folder.path().join("apart.toml");
    fs::write(&map, apart(40, "")).unwrap();
    let ended = check(&map, &[]);
    assert_eq!(ended.code, Some(0), "{ended}");
    for said in [
        "one poll is 40 reads and 1.25 s; over addresses that no point names it would be 10 and",
        "bridge_gaps = true",
        "one poll takes 1.25 s at 9600 8E1, longer than the usual second",
    ] {
        assert!(ended.err.contains(said), "{said}\n{ended}");
    }
}

#[test]
fn a_map_of_ten_thousand_points_is_checked() {
    let folder = tempdir().unwrap();
    let map = folder.path().join("many.toml");
    fs::write(&map, apart(10_000, "refresh = \"settings\"\n")).unwrap();
    let ended = check(&map, &["--json"]);
    assert_eq!(ended.code, Some(0), "{ended}");
    let document = ended.json();
    assert_eq!(document["points"], 10_000);
    let reads = |group: &str| document["plan"][group]["reads"].as_array().unwrap().len();
    assert_eq!((reads("trend"), reads("settings")), (1, 9999));
}

#[test]
fn a_new_map_passes_its_check_and_nothing_is_overwritten() {
    let folder = tempdir().unwrap();
    let map = folder.path().join("oven.toml");
    let path = map.to_str().unwrap();
    let written = emberline(&["map", "new", "--out", path]);
    assert_eq!(
        (written.code, written.out.as_str()),
        (Some(0), ""),
        "{written}"
    );
    assert!(check(&map, &[]).err.contains("nothing doubtful"));
    let printed = emberline(&["map", "new"]);
    assert_eq!(fs::read_to_string(&map).unwrap(), printed.out);

    fs::write(&map, "mine").unwrap();
    emberline(&["map", "new", "--out", path]).failed_with(2, &["is there already"]);
    assert_eq!(fs::read_to_string(&map).unwrap(), "mine");
    let nowhere = folder.path().join("nowhere/oven.toml");
    emberline(&["map", "new", "--out", nowhere.to_str().unwrap()]).failed_with(4, &["help: "]);
}

#[test]
fn the_schema_is_printed_for_maps_and_for_setups() {
    let map = emberline(&["map", "schema"]).json();
    assert!(map["properties"]["points"].is_object());
    let setup = emberline(&["map", "schema", "--setup"]).json();
    assert!(setup["properties"]["loops"].is_object());
}

#[test]
fn a_word_order_that_is_wrong_is_remarked_on_and_a_right_one_is_not() {
    let device = Device::start(Plug::Tcp(Framing::Tcp), &Floats);
    let folder = tempdir().unwrap();
    let setup = device.setup(folder.path());
    let read =
        |options: &[&str]| emberline(&[&["read", setup.to_str().unwrap()], options].concat());
    let right = read(&[]);
    assert_eq!((right.code, right.err.as_str()), (Some(0), ""), "{right}");
    assert_eq!(read(&["--json"]).json()["loops"][0]["notes"], json!([]));

    alter(
        &folder.path().join("map.toml"),
        "\nword_order = \"low-first\"",
        "",
    );
    let wrong = read(&[]);
    assert_eq!(wrong.code, Some(0), "{wrong}");
    assert!(wrong.err.contains(" sp: "), "{wrong}");
    assert!(
        wrong.err.contains("with word_order = \"low-first\""),
        "{wrong}"
    );
    let notes = read(&["--json"]).json()["loops"][0]["notes"].clone();
    let order = notes
        .as_array()
        .unwrap()
        .iter()
        .find(|it| it["about"] == "sp")
        .unwrap();
    assert_eq!(order["code"], "other-order");
    assert!(order["text"].as_str().unwrap().contains("490"), "{notes}");
}
