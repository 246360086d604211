//! Files with mistakes, and maps with doubtful points: each with the exact message that a person gets
//! beside it.

use std::cell::RefCell;
use std::collections::BTreeSet;
use std::fmt::Write as _;
use std::fs;
use std::path::{Path, PathBuf};

use emberline::map::Map;
use emberline::setup::{FileErrors, Setup};
use emberline::spanned;

fn folder() -> PathBuf {
    Path::new(env!("CARGO_MANIFEST_DIR")).join("tests/files/bad")
}

/// What is wrong with a file of that folder; `setup-*.toml` are setups, the others maps.
fn errors_of(file: &str) -> Option<FileErrors> {
    let text = fs::read_to_string(folder().join(file)).unwrap();
    if file.starts_with("setup-") {
        let map = |path: &str| spanned::read_text(&folder().join(path));
        Setup::parse(&text, file, "bad", &map).err()
    } else {
        Map::parse(&text, file).err()
    }
}

/// The lines of two texts that differ, the expected one above the one that came.
fn difference(expected: &str, came: &str) -> String {
    let (mut expected, mut came) = (expected.lines(), came.lines());
    let mut shown = String::new();
    loop {
        match (expected.next(), came.next()) {
            (None, None) => return shown,
            (left, right) if left == right => {}
            (left, right) => {
                for (sign, line) in [('-', left), ('+', right)] {
                    if let Some(line) = line {
                        writeln!(shown, "  {sign} {line}").unwrap();
                    }
                }
            }
        }
    }
}

/// Every TOML file of a folder whose message is not the one beside it, and how many there are.
fn compare(folder: &Path, message_of: impl Fn(&str) -> String) -> (String, usize) {
    let mut wrong = String::new();
    let mut seen = 0;
    for entry in fs::read_dir(folder).unwrap() {
        let path = entry.unwrap().path();
        if path.extension().is_none_or(|end| end != "toml") {
            continue;
        }
        seen += 1;
        let file = path.file_name().unwrap().to_string_lossy().into_owned();
        let expected = fs::read_to_string(path.with_extension("txt")).unwrap_or_default();
        let came = message_of(&file);
        // Windows joins paths its own way and git may write other line ends there.
        let (expected, came) = (expected.replace('\r', ""), came.replace("maps\\", "maps/"));
        let difference = difference(expected.trim_end(), &came);
        if came.is_empty() || !difference.is_empty() {
            writeln!(wrong, "{file}: - expected, + came\n{difference}").unwrap();
        }
    }
    (wrong, seen)
}

#[test]
fn every_bad_file_gives_exactly_the_message_beside_it() {
    let message = |file: &str| errors_of(file).map_or_else(String::new, |all| all.to_string());
    let (wrong, seen) = compare(&folder(), message);
    assert!(wrong.is_empty(), "\n{wrong}");
    assert!(seen >= 40, "only {seen} bad files were found");
}

/// Every code of a warning about a map.
const DOUBTS: [&str; 25] = [
    "coarse-scale",
    "counts-from-one",
    "different-scales",
    "different-units",
    "limits-without-unit",
    "looks-like-references",
    "mode-without-means",
    "no-autotune",
    "no-faults",
    "no-output",
    "no-process-value",
    "no-setpoint",
    "no-tuning-form",
    "no-tuning-numbers",
    "no-unit",
    "out-of-reach",
    "scaled-float",
    "shared-bits",
    "short-reach",
    "slow-role",
    "tuning-unit",
    "tuning-without-points",
    "unsigned-temperature",
    "whole-word-status",
    "written-elsewhere",
];

#[test]
fn every_doubt_about_a_map_is_told_with_its_place() {
    let folder = Path::new(env!("CARGO_MANIFEST_DIR")).join("tests/files/doubtful");
    let told = RefCell::new(BTreeSet::new());
    let message = |file: &str| {
        let text = fs::read_to_string(folder.join(file)).unwrap();
        let (_, warnings) = Map::check(&text, file).unwrap_or_else(|errors| panic!("{errors}"));
        told.borrow_mut()
            .extend(warnings.iter().map(|warning| warning.code));
        let problems: Vec<String> = warnings.iter().map(|it| it.problem.to_string()).collect();
        problems.join("\n\n")
    };
    let (wrong, _) = compare(&folder, message);
    assert!(wrong.is_empty(), "\n{wrong}");
    let told: Vec<&str> = told.into_inner().into_iter().collect();
    assert_eq!(told, DOUBTS);
}

#[test]
fn the_maps_that_are_delivered_leave_no_doubt() {
    let folder = Path::new(env!("CARGO_MANIFEST_DIR")).join("configs/maps");
    for entry in fs::read_dir(folder).unwrap() {
        let path = entry.unwrap().path();
        let text = spanned::read_text(&path).unwrap();
        let (_, warnings) = Map::check(&text, &path.display().to_string()).unwrap();
        assert_eq!(warnings, []);
    }
}

/// What loading a setup with these bytes says, with the path shortened to its last part.
fn load_error(bytes: &[u8]) -> String {
    let folder = tempfile::tempdir().unwrap();
    let path = folder.path().join("oven.toml");
    fs::write(&path, bytes).unwrap();
    let error = Setup::load(&path).unwrap_err().to_string();
    error.replace(&path.display().to_string(), "oven.toml")
}

#[test]
fn a_file_that_is_no_text_is_refused_with_the_place() {
    let mut bytes = b"schema = 1\n# caf".to_vec();
    bytes.push(0xE9);
    assert_eq!(
        load_error(&bytes),
        "oven.toml: cannot be read: it is not UTF-8 text: byte 16 of the file, on line 2, is 0xE9\n\
         help: save it from a text editor as UTF-8 text"
    );
}

#[test]
fn a_file_too_large_for_a_setup_is_refused_without_being_read_whole() {
    let error = load_error(&vec![b'#'; 40 << 20]);
    assert!(
        error.starts_with("oven.toml: cannot be read: it is larger than 4 MB")
            && error.ends_with("see whether another file was meant"),
        "{error}"
    );
}

#[test]
fn a_missing_file_and_a_folder_are_told_apart() {
    let folder = tempfile::tempdir().unwrap();
    let missing = Setup::load(&folder.path().join("oven.toml")).unwrap_err();
    assert_eq!(missing.count(), 1);
    assert!(missing.to_string().contains("there is no such file"));
    let folder = Setup::load(folder.path()).unwrap_err();
    assert!(folder.to_string().contains("it is a folder, not a file"));
}

#[test]
fn a_byte_order_mark_and_windows_line_ends_do_no_harm() {
    let text = fs::read_to_string(folder().join("maps/plain.toml")).unwrap();
    let folder = tempfile::tempdir().unwrap();
    let path = folder.path().join("plain.toml");
    fs::write(&path, format!("\u{feff}{}", text.replace('\n', "\r\n"))).unwrap();
    let windows = spanned::read_text(&path).unwrap();
    let map = Map::parse(&windows, "plain.toml");
    assert_eq!(map, Map::parse(&text, "plain.toml"));
}
