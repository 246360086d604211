//! No map and no setup, however broken, makes the reading of it panic.

use std::fs;
use std::path::{Path, PathBuf};

use emberline::map::{Map, Refresh};
use emberline::setup::Setup;
use proptest::prelude::*;

fn good(name: &str) -> String {
    let folder: PathBuf = Path::new(env!("CARGO_MANIFEST_DIR")).join("tests/files/good");
    fs::read_to_string(folder.join(name)).unwrap()
}

/// Reads the text as a map and as a setup; each must give something or say what is wrong.
fn read_both(text: &str) {
    if let Err(errors) = Map::parse(text, "map.toml") {
        assert!(errors.count() > 0 && !errors.to_string().is_empty());
    }
    let map_text = good("maps/full.toml");
    if let Err(errors) = Setup::parse(text, "setup.toml", "setup", &|_| Ok(map_text.clone())) {
        assert!(errors.count() > 0 && !errors.to_string().is_empty());
    }
}

#[test]
fn a_file_cut_off_anywhere_is_read_or_refused() {
    for name in ["maps/full.toml", "setup.toml"] {
        let text = good(name);
        for end in 0..text.len() {
            if let Some(cut) = text.get(..end) {
                read_both(cut);
            }
        }
    }
}

/// What may be done to a text: a byte range to replace, and with what.
fn mutation() -> impl Strategy<Value = (prop::sample::Index, usize, String)> {
    let pieces = prop::sample::select(vec![
        "",
        "0",
        "-1",
        "65535",
        "65536",
        "1e308",
        "nan",
        "\"",
        "'",
        "\n",
        "[",
        "]",
        "{",
        "}",
        "=",
        ".",
        ",",
        "#",
        "\\",
        "\u{0}",
        "°",
        "炉",
        "\"f64\"",
        "\"coil\"",
        "\"reference\"",
        "[[a]]",
        "[points.pv]",
        "bits = \"0..63\"\n",
        "decimals_from = \"pv\"\n",
        "99999999999999999999",
    ]);
    let text = prop_oneof![pieces.prop_map(str::to_owned), "\\PC{0,12}"];
    (any::<prop::sample::Index>(), 0..40_usize, text)
}

fn mutate(text: &str, changes: &[(prop::sample::Index, usize, String)]) -> String {
    let mut characters: Vec<char> = text.chars().collect();
    for (at, length, piece) in changes {
        let start = at.index(characters.len() + 1);
        let end = (start + length).min(characters.len());
        characters.splice(start..end, piece.chars());
    }
    characters.into_iter().collect()
}

proptest! {
    #[test]
    fn a_map_changed_at_random_is_read_or_refused(
        changes in prop::collection::vec(mutation(), 1..8)
    ) {
        read_both(&mutate(&good("maps/full.toml"), &changes));
    }

    #[test]
    fn a_setup_changed_at_random_is_read_or_refused(
        changes in prop::collection::vec(mutation(), 1..8)
    ) {
        read_both(&mutate(&good("setup.toml"), &changes));
    }

    #[test]
    fn any_text_is_read_or_refused(text in "\\PC{0,400}") {
        read_both(&text);
    }
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
