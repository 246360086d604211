//! No map and no setup, however broken, makes the reading of it panic.

mod inputs;
mod judge;
mod random;

use std::fs;
use std::path::{Path, PathBuf};

use emberline::map::{Map, Refresh};
use judge::{Count, Judge};

fn good(name: &str) -> String {
    let folder: PathBuf = Path::new(env!("CARGO_MANIFEST_DIR")).join("tests/files/good");
    fs::read_to_string(folder.join(name)).unwrap()
}

/// How many inputs every test run tries; `cargo bench --bench parser_fuzz` tries a million.
const INPUTS: u64 = 4000;

#[test]
fn a_file_cut_off_anywhere_is_read_or_refused() {
    let judge = Judge::new();
    for name in ["maps/full.toml", "setup.toml"] {
        let text = good(name);
        for end in (0..text.len()).step_by(3) {
            if let Some(cut) = text.get(..end) {
                judge.judge(cut, &mut Count::default()).unwrap();
            }
        }
    }
}

#[test]
fn whatever_is_in_a_file_it_is_read_or_refused_as_its_schema_has_it() {
    let judge = Judge::new();
    let mut count = Count::default();
    for number in 0..INPUTS {
        let text = judge.inputs.of(number);
        let judged = judge.judge(&text, &mut count);
        assert_eq!(judged, Ok(()), "input {number}:\n{text}");
    }
    // Or the inputs would be too wild to show anything.
    assert!(count.toml > INPUTS / 4, "{count:?}");
    assert!(count.maps > 20 && count.setups > 20, "{count:?}");
}

/// A map with `count` points, all in the same place if `spread` is 0.
fn many_points(count: usize, spread: usize) -> String {
    use std::fmt::Write as _;
    let mut text = "schema = 1\ntitle = \"Many\"\n".to_owned();
    for index in 0..count {
        let address = index * spread;
        write!(
            text,
            "[points.p{index}]\nrole = \"other\"\ntable = \"holding\"\n\
             address = {address}\nencoding = \"f32\"\n"
        )
        .unwrap();
    }
    text
}

fn repeated(count: usize, piece: impl Fn(usize) -> String) -> String {
    (0..count).map(piece).collect::<Vec<_>>().concat()
}

#[test]
fn a_flood_of_mistakes_in_one_long_line_is_counted() {
    let keys = repeated(100_000, |n| format!("\"x{n}\" = \"y\", "));
    let text = many_points(1, 1).replace("f32", "u16") + "names = { " + &keys + "}\n";
    let errors = Map::parse(&text, "flood.toml").unwrap_err();
    assert!(errors.count() >= 100_000, "{}", errors.count());
    assert!(errors.to_string().len() < 100_000);
}

#[test]
fn ten_thousand_keys_twice_under_a_heading_that_is_there_twice_are_one_mistake() {
    let keys = repeated(10_000, |n| format!("k{n} = 1\n"));
    let text = format!("[points.a]\n{keys}[points.a]\n{keys}");
    let errors = Map::parse(&text, "twice.toml").unwrap_err();
    let repeated = errors.to_string().matches("a second time").count();
    assert_eq!(repeated, 1, "{errors}");
}

#[test]
fn ten_thousand_points_are_no_trouble() {
    let map = Map::parse(&many_points(10_000, 2), "many.toml").unwrap();
    assert_eq!(map.places_for(Refresh::Trend).len(), 10_000);
    let errors = Map::parse(&many_points(10_000, 0), "many.toml").unwrap_err();
    assert_eq!(errors.count(), 9_999, "each but the first is told once");
    assert_eq!(errors.to_string().matches("help:").count(), 100);
    assert!(errors.to_string().ends_with("and 9899 more problems"));
}
