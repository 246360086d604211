//! Arguments, files and pipes: what needs no line at all.

use std::fs;

use mock_device::registers::Annealer;
use tempfile::tempdir;

use super::device::{alter, setup};
use super::{Ended, emberline, program};

const COMMANDS: [&str; 12] = [
    "demo",
    "find",
    "read",
    "watch",
    "record",
    "mark",
    "await",
    "measure",
    "evidence",
    "export",
    "completions",
    "manual",
];

#[test]
fn help_and_version_are_no_error_and_every_command_has_an_example() {
    for words in [&["--help"][..], &["--version"], &["help"]] {
        let ended = emberline(words);
        assert_eq!((ended.code, ended.err.as_str()), (Some(0), ""), "{ended}");
    }
    for command in COMMANDS {
        let help = emberline(&[command, "--help"]);
        assert_eq!(help.code, Some(0), "{help}");
        assert!(help.out.contains("Example"), "{help}");
        assert!(help.out.contains(&format!("emberline {command}")), "{help}");
    }
}

#[test]
fn wrong_arguments_are_wrong_use_and_said_on_standard_error() {
    for words in [
        &[][..],
        &["bake"],
        &["read"],
        &["record", "setup.toml"],
        &["read", "setup.toml", "--colour"],
        &["await", "setup.toml", "--until", "lunch"],
        &["mark", "recording"],
        &["mark", "recording", " "],
        &["record", "setup.toml", "--into", ".", "--for", "soon"],
        &["watch"],
        &["map"],
        &["map", "check"],
        &["map", "check", "map.toml", "--baud", "9"],
        &["map", "check", "map.toml", "--parity", "mark"],
        &["find", "--baud", "9600"],
        &["find", "--tcp", "oven"],
        &["find", "--tcp", "oven:502", "--parity", "even"],
        &["find", "--tcp", "oven:502", "--all"],
        &["find", "--tcp", "oven:502", "--serial", "COM3"],
        &["find", "--serial", "COM3", "--unit-numbers", "0-5"],
    ] {
        let ended = emberline(words);
        assert_eq!(
            (ended.code, ended.out.as_str()),
            (Some(2), ""),
            "{words:?} {ended}"
        );
        assert!(!ended.err.is_empty(), "{words:?}");
    }
}

#[test]
fn completions_and_the_manual_know_every_command() {
    for shell in ["bash", "zsh", "fish", "powershell", "elvish"] {
        let script = emberline(&["completions", shell]);
        assert_eq!(script.code, Some(0), "{script}");
        for command in COMMANDS {
            assert!(
                script.out.contains(command),
                "{shell} does not know {command}"
            );
        }
    }
    let manual = emberline(&["manual"]);
    assert_eq!(manual.code, Some(0), "{manual}");
    assert!(manual.out.contains(".TH emberline"), "{manual}");
    for command in COMMANDS {
        let heading = format!(".SH EMBERLINE {}", command.to_uppercase());
        assert!(manual.out.contains(&heading), "no {heading}");
    }
    assert!(manual.out.contains(".SH EMBERLINE MAP CHECK"), "{manual}");
}

#[test]
fn a_closed_pipe_is_no_error() {
    for words in [&["manual"][..], &["completions", "bash"], &["--help"]] {
        let (reader, writer) = std::io::pipe().unwrap();
        drop(reader);
        let ended = Ended::of(program().args(words).stdout(writer).output().unwrap());
        assert_eq!(
            (ended.code, ended.err.as_str()),
            (Some(0), ""),
            "{words:?} {ended}"
        );
    }
}

#[test]
fn every_mistake_in_a_map_is_said_with_its_place_before_any_port_is_opened() {
    let folder = tempdir().unwrap();
    let setup = setup(folder.path(), "serial", "no-such-port", &Annealer);
    let map = folder.path().join("map.toml");
    // `sp` where `pv` stands already, and an unlock by a point that does not exist.
    alter(&map, "address = 1\n", "address = 0\n");
    let text = fs::read_to_string(&map).unwrap();
    fs::write(
        &map,
        text + "\n[unlock]\nbefore = [{ point = \"lock\", value = 0 }]\n",
    )
    .unwrap();
    // The line of the first `needle` at or below `below`.
    let place = |below: &str, needle: &str| {
        let text = fs::read_to_string(&map).unwrap();
        let lines = || {
            text.lines()
                .enumerate()
                .skip_while(|(_, line)| *line != below)
        };
        let (line, _) = lines().find(|(_, line)| line.contains(needle)).unwrap();
        format!("map.toml:{}:", line + 1)
    };
    let overlap = place("[points.sp]", "address");
    let unknown = place("[unlock]", "lock\"");
    let setup = setup.to_str().unwrap();
    let into = folder.path().join("recordings");
    for words in [
        &["read", setup][..],
        &["record", setup, "--into", into.to_str().unwrap()],
        &["watch", setup],
        &["await", setup, "--until", "fault"],
    ] {
        let ended = emberline(words);
        ended.failed_with(2, &[&overlap, &unknown, "point 'sp'", "help: "]);
        assert!(!ended.err.contains("no-such-port"), "{ended}");
    }
    assert!(!into.exists());
}

#[test]
fn a_setup_that_is_not_there_is_named() {
    for words in [
        &["read", "nowhere.toml"][..],
        &["record", "nowhere.toml", "--into", "."],
    ] {
        emberline(words).failed_with(2, &["nowhere.toml", "help: "]);
    }
}

#[test]
fn a_csv_with_a_missing_column_is_a_file_error_that_lists_those_there() {
    let folder = tempdir().unwrap();
    let file = folder.path().join("oven.csv");
    fs::write(&file, "time,furnace\n0,490.0\n1,490.2\n").unwrap();
    let file = file.to_str().unwrap();
    let measure = |options: &[&str]| emberline(&[&["measure", file], options].concat());
    measure(&[]).failed_with(4, &["oven.csv", "process value", "--pv", "time, furnace"]);
    measure(&["--pv", "chamber"]).failed_with(4, &["\"chamber\"", "time, furnace"]);
    let ended = measure(&["--time", "time", "--pv", "furnace", "--json"]);
    assert_eq!((ended.code, ended.err.as_str()), (Some(0), ""), "{ended}");
    assert_eq!(ended.json()["source"], "oven.csv");
    emberline(&["measure", "nowhere.csv"]).failed_with(4, &["nowhere.csv", "help: "]);
}
