//! `docs/maps.md`: its table is what the controller's manual prints, its maps read that controller
//! right, and its traps look as it says.

use std::path::Path;

use emberline::line::Seen;
use emberline::map::Map;
use emberline::sample::{Reading, Why};
use mock_device::registers::{Layout, layout, register_table};

use super::device_maps::bench::Bench;
use super::device_maps::reads_right;

fn guide() -> String {
    let path = Path::new(env!("CARGO_MANIFEST_DIR")).join("docs/maps.md");
    std::fs::read_to_string(path).unwrap()
}

/// The blocks of the guide in this language.
fn blocks(language: &str) -> Vec<String> {
    let (text, fence) = (guide(), format!("```{language}\n"));
    let blocks = text.split(&fence).skip(1);
    blocks
        .map(|rest| rest.split("```").next().unwrap().to_owned())
        .collect()
}

fn bits() -> &'static dyn Layout {
    layout("bits").unwrap()
}

/// The map that the guide ends with.
fn whole_map() -> String {
    blocks("toml").swap_remove(2)
}

#[test]
fn the_guides_table_is_the_one_that_the_controllers_manual_prints() {
    assert_eq!(blocks("text"), [register_table(bits())]);
}

#[test]
fn the_guides_maps_read_every_point_right() {
    let toml = blocks("toml");
    assert_eq!(toml.len(), 4);
    reads_right(bits(), &format!("{}{}", toml[0], toml[1]));
    reads_right(bits(), &whole_map());
    let decimals = format!("schema = 1\ntitle = \"Decimals\"\n{}", toml[3]);
    reads_right(layout("decimals").unwrap(), &decimals);
}

#[test]
fn the_guides_whole_map_holds_what_it_builds_up() {
    let toml = blocks("toml");
    let parse = |text: &str| Map::parse(text, "docs/maps.md").unwrap();
    let (four, whole) = (
        parse(&format!("{}{}", toml[0], toml[1])),
        parse(&whole_map()),
    );
    assert_eq!(four.access, whole.access);
    assert_eq!(four.points, whole.points[..4]);
}

/// What a point reads through a map.
fn read(layout: &'static dyn Layout, map: &str, name: &str) -> Seen {
    let seen = Bench::new(layout, map).read();
    let found = seen
        .into_iter()
        .find(|(point, _)| point.name.as_str() == name);
    found.unwrap().1
}

fn value(seen: &Seen) -> f64 {
    seen.reading.value().unwrap()
}

fn altered(map: &str, old: &str, new: &str) -> String {
    assert!(map.contains(old), "{old}");
    map.replacen(old, new, 1)
}

#[test]
fn off_by_one_shows_neighbours_and_refusals() {
    let decimals = layout("decimals").unwrap();
    let wrong = altered(decimals.map_text(), "\"one-based\"", "\"zero-based\"");
    let right = read(decimals, decimals.map_text(), "sp");
    assert_eq!(read(decimals, &wrong, "pv").raw, right.raw);
    let refused = read(decimals, &wrong, "mode").reading;
    assert_eq!(refused, Reading::Absent(Why::Refused(2)));
}

#[test]
fn the_wrong_word_order_multiplies_a_small_number_by_65536() {
    let wrong = altered(&whole_map(), "word_order = \"low-first\"\n", "");
    let (band, right) = (
        read(bits(), &wrong, "band"),
        read(bits(), &whole_map(), "band"),
    );
    assert!((value(&band) - 65_536.0 * value(&right)).abs() < 1e-6);
    let floats = layout("floats").unwrap();
    let wrong = altered(floats.map_text(), "word_order = \"low-first\"\n", "");
    let wrong = altered(
        &wrong,
        "decimals = 1\nwritable = { min = 0.0",
        "writable = { min = 0.0",
    );
    // The setpoint is 490.0.
    assert!((value(&read(floats, &wrong, "sp")) - 2e-41).abs() < 1e-41);
}

#[test]
fn a_percentage_without_its_scale_is_ten_times_too_large() {
    let wrong = altered(&whole_map(), "scale = 0.1\nunit = \"%\"", "unit = \"%\"");
    let (out, right) = (
        read(bits(), &wrong, "out"),
        read(bits(), &whole_map(), "out"),
    );
    assert!((value(&out) - 10.0 * value(&right)).abs() < 1e-6);
}
