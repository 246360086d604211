//! `map locate`: from the number on the panel to the register.

use std::fs;
use std::path::Path;
use std::time::Duration;

use mock_device::registers::{
    Annealer, Floats, Item, Layout, Random, Scale, Setting, Table, Unit, What,
};
use mock_device::wire::listen::Framing;
use serde_json::Value;
use tempfile::tempdir;

use super::device::{Device, Plug};
use super::{AT_ONCE, Ended, emberline};

/// The setpoint can be set from the panel, and is told apart from all else by that.
fn locate(setup: &Path, shows: &str, options: &[&str]) -> Ended {
    locate_at(setup, shows, "0-63", options)
}

fn locate_at(setup: &Path, shows: &str, addresses: &str, options: &[&str]) -> Ended {
    let setup = setup.to_str().unwrap();
    let words = ["map", "locate", setup, "--shows", shows];
    let addresses = ["--addresses", addresses];
    emberline(&[&words[..], &addresses, &AT_ONCE, options].concat())
}

fn candidates(ended: &Ended) -> Vec<(String, u64, String)> {
    let list = ended.json()["candidates"].as_array().unwrap().clone();
    let word = |it: &Value, key: &str| it[key].as_str().unwrap().to_owned();
    let candidate = |it: &Value| {
        let address = it["address"].as_u64().unwrap();
        (word(it, "table"), address, word(it, "encoding"))
    };
    list.iter().map(candidate).collect()
}

#[test]
fn a_number_that_changes_leaves_the_register_whose_map_reads_it() {
    let layouts: [(&'static dyn Layout, _); 2] = [
        (&Annealer, ("holding", 1, "i16")),
        // Low word first, and half a float is refused.
        (&Floats, ("holding", 0, "f32")),
    ];
    for (layout, (table, address, encoding)) in layouts {
        let device = Device::start(Plug::Tcp(Framing::Tcp), layout);
        let folder = tempdir().unwrap();
        let setup = device.setup(folder.path());
        // As after 'find': nobody has written a map yet.
        fs::remove_file(folder.path().join("map.toml")).unwrap();
        let first = locate(&setup, "490.0", &["--json"]);
        assert_eq!(first.code, Some(0), "{first}");
        assert!(
            first.err.contains("map.toml is no whole map yet"),
            "{first}"
        );
        device.panel.set_setpoint(510.5).unwrap();
        let second = locate(&setup, "510.5", &["--json"]);
        let left = candidates(&second);
        assert!(left.len() < candidates(&first).len(), "{second}");
        let wanted = (table.to_owned(), address, encoding.to_owned());
        assert_eq!(left.first(), Some(&wanted), "{second}");

        let point = second.json()["map"].as_str().unwrap().to_owned();
        let map = format!("schema = 1\ntitle = \"located\"\n{point}");
        fs::write(folder.path().join("map.toml"), map).unwrap();
        let words = ["read", setup.to_str().unwrap(), "--json"];
        let read = emberline(&[&words[..], &AT_ONCE].concat());
        assert_eq!(
            read.json()["loops"][0]["points"][0]["value"],
            510.5,
            "{read}"
        );
    }
}

/// Three numbers, each set at the panel and then looked for: what is left.
fn three_times(setup: &Path, item: &Item, point: &str, set: &dyn Fn(f64)) -> Ended {
    let table = match item.table {
        Table::Input => "input",
        _ => "holding",
    };
    let around = format!("{}-{}", item.address.saturating_sub(8), item.address + 12);
    let mut last = None;
    for number in [40.0, 62.5, 15.0] {
        // Temperatures within the limits of the setpoint.
        let number = if point == "sp" {
            400.0 + number
        } else {
            number
        };
        set(number);
        let shows = format!("{number:.1}");
        let options = ["--point", point, "--table", table, "--json"];
        last = Some(locate_at(setup, &shows, &around, &options));
    }
    last.unwrap()
}

/// Whether it has the panel's unit and a power of ten for its scale.
fn can_be_located(item: &Item) -> bool {
    let is_plain = match item.scale {
        Scale::Fixed { per_unit, offset } => {
            offset == 0.0 && [0.01, 1.0, 10.0, 100.0].contains(&per_unit)
        }
        Scale::Display => true,
    };
    is_plain && matches!(item.unit, Unit::DegC | Unit::Percent)
}

#[test]
fn setpoint_and_output_are_found_in_controllers_that_nobody_has_seen() {
    let mut found = 0;
    for seed in 1..=60 {
        let layout: &'static Random = Box::leak(Box::new(Random::new(seed)));
        let listed = |what| layout.listed(what).filter(|item| item.is_readable());
        let setpoint = listed(What::Set(Setting::Setpoint)).filter(|it| can_be_located(it));
        let output = listed(What::Output).filter(|it| can_be_located(it));
        // Long rests and many seeds were tried once; they take minutes.
        if found >= 8 || layout.rest() > Duration::from_millis(10) {
            continue;
        }
        let (Some(setpoint), Some(output)) = (setpoint, output) else {
            continue;
        };
        let device = Device::start(Plug::Tcp(Framing::Tcp), layout);
        let folder = tempdir().unwrap();
        let setup = device.setup(folder.path());
        let access = format!(
            "[access]\nmax_words = {}\ngap = \"{} ms\"\n",
            layout.max_words(),
            layout.rest().as_millis()
        );
        fs::write(folder.path().join("map.toml"), access).unwrap();
        let sp = three_times(&setup, setpoint, "sp", &|number| {
            device.panel.set_setpoint(number).unwrap();
        });
        let out = three_times(&setup, output, "out", &|number| {
            device.panel.manual(number).unwrap();
        });
        for (item, ended) in [(setpoint, sp), (output, out)] {
            assert_eq!(ended.code, Some(0), "seed {seed}, {item:?}: {ended}");
            let addresses: Vec<u64> = candidates(&ended).into_iter().map(|it| it.1).collect();
            let address = u64::from(item.address);
            assert!(
                addresses[..addresses.len().min(3)].contains(&address),
                "seed {seed}: {item:?} {ended}"
            );
            found += 1;
        }
    }
    assert!(found >= 8, "only {found} looked for");
}

#[test]
fn what_is_left_is_listed_with_a_point_for_the_map_below() {
    let device = Device::start(Plug::Tcp(Framing::Rtu), &Annealer);
    let folder = tempdir().unwrap();
    let setup = device.setup(folder.path());
    let ended = locate(&setup, "490.0", &["--point", "sp"]);
    assert_eq!((ended.code, ended.err.as_str()), (Some(0), ""), "{ended}");
    let comments = |line: &&str| line.starts_with('#');
    assert!(
        ended.out.lines().take_while(comments).count() > 5,
        "{ended}"
    );
    for text in [
        "%  holding        1  i16, 1 decimal",
        "[points.sp]\nrole = \"setpoint\"\n",
    ] {
        assert!(ended.out.contains(text), "{text:?} in {ended}");
    }
}

#[test]
fn a_number_that_nothing_shows_drops_nothing_that_was_known() {
    let device = Device::start(Plug::Tcp(Framing::Tcp), &Annealer);
    let folder = tempdir().unwrap();
    let setup = device.setup(folder.path());
    let first = locate(&setup, "490.0", &["--json"]);
    let help = "what earlier runs found is kept\nhelp: ";
    locate(&setup, "123.4", &["--json"]).failed_with(1, &["is 123.4 in any way", help]);
    let again = locate(&setup, "490.0", &["--json"]);
    assert_eq!(candidates(&first), candidates(&again));
    locate(&setup, "123.4", &["--restart"]).failed_with(1, &["--within"]);
}

#[test]
fn what_cannot_be_done_is_said_with_a_way_on() {
    let device = Device::of_units(Plug::Tcp(Framing::Tcp), &[2]);
    let folder = tempdir().unwrap();
    let setup = device.setup(folder.path());
    locate(&setup, "490.0", &[]).failed_with(3, &["unit 1 behind it did not", "help: "]);
    locate(&setup, "25.3 C", &[]).failed_with(2, &["no number as a panel shows it"]);
    locate(&setup, "25.3", &["--table", "coil"]).failed_with(2, &["input and holding"]);
    let state = folder.path().join("setup.annealer-top.locate.json");
    fs::write(&state, "{}").unwrap();
    locate(&setup, "490.0", &[]).failed_with(4, &["locate.json", "--restart"]);
    fs::write(&state, "{\"unit_number\": 7, \"points\": {}}").unwrap();
    locate(&setup, "490.0", &[]).failed_with(2, &["is of unit 7", "--restart"]);
    locate(&folder.path().join("none.toml"), "1", &[]).failed_with(2, &["emberline find"]);
}
