//! Files that are right, and what is read from them.

use std::path::{Path, PathBuf};
use std::sync::Arc;
use std::time::Duration;

use emberline::map::{Map, Refresh, Role};
use emberline::setup::{Parity, Port, Setup, StopBits};

fn good(name: &str) -> PathBuf {
    Path::new(env!("CARGO_MANIFEST_DIR"))
        .join("tests/files/good")
        .join(name)
}

fn full_map() -> Map {
    let text = std::fs::read_to_string(good("maps/full.toml")).unwrap();
    Map::parse(&text, "full.toml").unwrap()
}

#[test]
fn a_setup_is_read_with_its_maps_and_its_defaults() {
    let setup = Setup::load(&good("setup.toml")).unwrap_or_else(|errors| panic!("{errors}"));
    assert_eq!(setup.name, "setup");
    assert_eq!(setup.job.equipment, "Annealing oven 2");
    let serial = Port::Serial {
        path: "/dev/ttyUSB0".to_owned(),
        baud: 19_200,
        parity: Parity::None,
        stop_bits: StopBits::Two,
    };
    assert_eq!(setup.lines[0].name.as_str(), "shop");
    assert_eq!(setup.lines[0].port, serial);
    assert_eq!(setup.lines[1].port, Port::Tcp("192.0.2.7:502".to_owned()));
    assert_eq!(setup.lines[1].answer_within, Duration::from_millis(500));
    assert_eq!(setup.loops[0].every, Duration::from_millis(500));
    assert_eq!(setup.loops[2].unit.get(), 247);
    assert_eq!(setup.loops[2].band, None);
    assert!(Arc::ptr_eq(&setup.loops[0].map, &setup.loops[2].map));
}

#[test]
fn a_recording_can_read_its_own_copies_again() {
    let setup = Setup::load(&good("setup.toml")).unwrap();
    let copy = |path: &str| {
        assert_eq!(path, "maps/full.toml");
        Ok(setup.loops[0].map_text.to_string())
    };
    let again = Setup::parse(&setup.text, "recording.toml", &setup.name, &copy).unwrap();
    assert_eq!(again, setup);
}

#[test]
fn the_columns_of_a_recording_are_the_trend_points_in_the_order_of_the_file() {
    let map = full_map();
    let columns: Vec<String> = map
        .trend_points()
        .map(emberline::map::Point::column)
        .collect();
    let expected = [
        "pv_degC", "sp", "out_pct", "tuning", "program", "mode", "door",
    ];
    assert_eq!(columns, expected);
    let setpoint = map.point_with(Role::Setpoint).unwrap();
    assert_eq!(setpoint.column_in(Some("degF")), "sp_degF");
}

#[test]
fn a_poll_reads_each_place_once_and_the_points_that_give_decimals_and_unit() {
    let places = full_map().places_for(Refresh::Trend);
    let listed: Vec<String> = places
        .iter()
        .map(|place| format!("{} {}+{}", place.table.word(), place.address.0, place.count))
        .collect();
    let expected = [
        "discrete 3+1",
        "discrete 4+1",
        "input 0+1",
        "input 2+2",
        "holding 0+1",
        "holding 12+1",
        "holding 13+1",
        "holding 30+1",
        "holding 31+1",
    ];
    assert_eq!(listed, expected);
    assert_eq!(full_map().places_for(Refresh::Never), []);
}

/// The TOML files in a folder of `configs`.
fn configs(folder: &str) -> Vec<PathBuf> {
    let folder = Path::new(env!("CARGO_MANIFEST_DIR")).join(folder);
    let entries = std::fs::read_dir(folder).unwrap();
    let paths = entries.map(|entry| entry.unwrap().path());
    paths
        .filter(|path| path.extension().is_some_and(|end| end == "toml"))
        .collect()
}

#[test]
fn every_file_in_configs_is_read() {
    let (setups, maps) = (configs("configs"), configs("configs/maps"));
    assert!(!setups.is_empty() && !maps.is_empty());
    for path in setups {
        Setup::load(&path).unwrap_or_else(|errors| panic!("{errors}"));
    }
    for path in maps {
        let text = emberline::spanned::read_text(&path).unwrap();
        let shown = path.display().to_string();
        let map = Map::parse(&text, &shown).unwrap_or_else(|errors| panic!("{errors}"));
        assert!(map.point_with(Role::ProcessValue).is_some(), "{shown}");
    }
}
