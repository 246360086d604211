//! `export`: one file for a spreadsheet, every digit as it was recorded.

use std::fs;
use std::path::{Path, PathBuf};

use tempfile::{TempDir, tempdir};

#[cfg(unix)]
use super::program;
use super::{Ended, emberline};

/// Two loops whose maps differ in unit and in their last column.
const FACTS: &str = r#"
schema = 1
program = "0.1.0"
name = "lehr"
began = "2027-03-27T23:59:58.000Z"

[setup]
name = "lehr"
text = """
schema = 1
[lines.shop]
serial = "none"
[[loops]]
name = "top"
line = "shop"
unit_number = 1
map = "one.toml"
[[loops]]
name = "floor"
line = "shop"
unit_number = 2
map = "two.toml"
"""

[maps]
"one.toml" = """
schema = 1
title = "One"
[points.pv]
role = "process-value"
table = "holding"
address = 0
encoding = "i16"
scale = 0.1
unit = "degC"
[points.out]
role = "output"
table = "holding"
address = 1
encoding = "i16"
scale = 0.01
unit = "%"
"""
"two.toml" = """
schema = 1
title = "Two"
[points.pv]
role = "process-value"
table = "holding"
address = 0
encoding = "i16"
unit = "degF"
"""
"#;

/// Two days of `top`, the last row still being written, and a row of `floor`.
fn recording() -> (TempDir, PathBuf) {
    let folder = tempdir().unwrap();
    let recording = folder.path().join("lehr");
    for (name, text) in [
        ("recording.toml", FACTS),
        (
            "top/2027-03-27.csv",
            "time,elapsed_s,state,pv_degC,out_pct\n\
             2027-03-27T23:59:58.012Z,0.012,good,509.0,12.50\n\
             2027-03-27T23:59:59.000Z,1.000,no-answer,,\n",
        ),
        (
            "top/2027-03-28.csv",
            "time,elapsed_s,state,pv_degC,out_pct\n\
             2027-03-28T00:00:00.004Z,2.004,good,509.9,0.00\n\
             2027-03-28T00:00:01.004Z,3.0",
        ),
        ("top/events.csv", "time,elapsed_s,event,text\n"),
        (
            "floor/2027-03-27.csv",
            "time,elapsed_s,state,pv_degF\n2027-03-27T23:59:58.100Z,0.100,good,950\n",
        ),
    ] {
        let path = recording.join(name);
        fs::create_dir_all(path.parent().unwrap()).unwrap();
        fs::write(path, text).unwrap();
    }
    (folder, recording)
}

fn export(source: &Path, target: &Path, options: &[&str]) -> Ended {
    let words = [
        "export",
        source.to_str().unwrap(),
        "--to",
        target.to_str().unwrap(),
    ];
    emberline(&[&words, options].concat())
}

/// What the command writes.
#[track_caller]
fn exported(source: &Path, name: &str, options: &[&str]) -> String {
    let folder = tempdir().unwrap();
    let target = folder.path().join(name);
    let ended = export(source, &target, options);
    assert_eq!(ended.code, Some(0), "{ended}");
    assert_eq!(fs::read_dir(folder.path()).unwrap().count(), 1);
    fs::read_to_string(target).unwrap()
}

#[test]
fn several_loops_stand_below_each_other_with_every_column_of_each() {
    let (_folder, recording) = recording();
    assert_eq!(
        exported(&recording, "lehr.csv", &[]),
        "loop,time,elapsed_s,state,pv_degC,out_pct,pv_degF\n\
         top,2027-03-27T23:59:58.012Z,0.012,good,509.0,12.50,\n\
         top,2027-03-27T23:59:59.000Z,1.000,no-answer,,,\n\
         top,2027-03-28T00:00:00.004Z,2.004,good,509.9,0.00,\n\
         floor,2027-03-27T23:59:58.100Z,0.100,good,,,950\n"
    );
    let one = exported(&recording, "floor.tsv", &["--loop", "floor"]);
    assert_eq!(
        one,
        "time\telapsed_s\tstate\tpv_degF\n2027-03-27T23:59:58.100Z\t0.100\tgood\t950\n"
    );
    assert_eq!(exported(&recording.join("floor"), "floor.TSV", &[]), one);
}

#[test]
fn a_decimal_comma_goes_with_semicolons_and_leaves_the_digits() {
    let (_folder, recording) = recording();
    let text = exported(
        &recording.join("top"),
        "top.csv",
        &["--decimal", "comma", "--from", "0.5", "--until", "2s"],
    );
    assert_eq!(
        text,
        "time;elapsed_s;state;pv_degC;out_pct\n2027-03-27T23:59:59.000Z;1,000;no-answer;;\n2027-03-28T00:00:00.004Z;2,004;good;509,9;0,00\n"
    );
}

// Which zone the tests' machine is in is known only where it can be told.
#[cfg(unix)]
#[test]
fn times_of_the_place_have_no_letters_a_spreadsheet_would_stumble_over() {
    let (folder, recording) = recording();
    let target = folder.path().join("local.csv");
    let words = [
        "export",
        recording.to_str().unwrap(),
        "--to",
        target.to_str().unwrap(),
        "--local-time",
        "--loop",
        "top",
    ];
    // A zone by its rule: one hour before UTC, without a summer.
    let ended = Ended::of(program().args(words).env("TZ", "XYZ-1").output().unwrap());
    assert_eq!(ended.code, Some(0), "{ended}");
    let text = fs::read_to_string(target).unwrap();
    assert!(
        text.contains("\n2027-03-28 00:59:58.012,0.012,good"),
        "{text}"
    );
}

#[test]
fn a_part_is_cut_by_wall_time_too() {
    let (_folder, recording) = recording();
    let text = exported(
        &recording,
        "part.csv",
        &["--loop", "top", "--from", "2027-03-28T00:00:00Z"],
    );
    assert_eq!(
        text,
        "time,elapsed_s,state,pv_degC,out_pct\n2027-03-28T00:00:00.004Z,2.004,good,509.9,0.00\n"
    );
}

#[test]
fn somebody_elses_csv_keeps_its_columns_or_those_that_are_named() {
    let folder = tempdir().unwrap();
    let source = folder.path().join("kiln.csv");
    let text = b"\xef\xbb\xbfZeit;Ofen [\xc2\xb0C];Bemerkung;Ofen 2\r\n0;20,50;\"auf; zu\";7\r\n0,5;21,25;;8\r\n";
    fs::write(&source, text).unwrap();
    assert_eq!(
        exported(&source, "all.csv", &[]),
        "Zeit,Ofen [\u{b0}C],Bemerkung,Ofen 2\n0,20.50,auf; zu,7\n0.5,21.25,,8\n"
    );
    let named = ["--time", "Zeit", "--pv", "Ofen 2"];
    assert_eq!(
        exported(&source, "named.csv", &named),
        "Zeit,Ofen 2\n0,7\n0.5,8\n"
    );
}

#[test]
fn a_torn_row_is_named_or_left_out_and_counted() {
    let folder = tempdir().unwrap();
    let source = folder.path().join("oven.csv");
    fs::write(&source, "t,pv\n0,20\n1\n2,\0\n3,21\n").unwrap();
    let target = folder.path().join("out.csv");
    fs::write(&target, "what was there").unwrap();
    export(&source, &target, &[]).failed_with(4, &["oven.csv:3: 1 cells", "help: "]);
    assert_eq!(fs::read_to_string(&target).unwrap(), "what was there");
    let ended = export(&source, &target, &["--skip-bad", "--json"]);
    assert_eq!(ended.code, Some(0), "{ended}");
    let told = ended.json();
    assert_eq!((&told["rows"], &told["left_out"]), (&2.into(), &2.into()));
    assert_eq!(fs::read_to_string(&target).unwrap(), "t,pv\n0,20\n3,21\n");
    assert!(ended.err.contains("2 damaged rows are left out"), "{ended}");
}

#[test]
fn damaged_rows_of_a_recording_are_named_or_counted_by_those_who_judge_it() {
    let (_folder, recording) = recording();
    let day = recording.join("top/2027-03-28.csv");
    let rows = [
        "2027-03-28T00:00:00.004Z,2.004,good,509.9,0.00",
        "2027-03-28T00:00:01.004Z,3.004,good,50",
        "2027-03-28T00:00:02.004Z,1.004,good,509.9,0.00",
        "2027-03-28T00:00:03.004Z,5.004,good,5\u{0}9.9,0.00",
        "2027-03-28T00:00:04.004Z,6.004,good,5o9.9,0.00",
        "2027-03-28T00:00:05.004Z,7.004,good,510.0,0.00\n",
    ];
    let header = "time,elapsed_s,state,pv_degC,out_pct\n";
    fs::write(&day, header.to_owned() + &rows.join("\n")).unwrap();
    fs::write(recording.join("top/settings.csv"), "").unwrap();
    let top = recording.join("top");
    let words = ["measure", top.to_str().unwrap()];
    emberline(&words).failed_with(4, &["2027-03-28.csv:3: 4 cells", "--skip-bad"]);
    let ended = emberline(&[&words[..], &["--skip-bad"]].concat());
    assert_eq!(ended.code, Some(0), "{ended}");
    assert!(ended.out.contains("4 unreadable"), "{ended}");
}

/// `export` and `measure` mean the same moment by a duration, also where the first row has no process
/// value.
#[test]
fn a_duration_counts_from_the_first_row_in_every_command() {
    let folder = tempdir().unwrap();
    let source = folder.path().join("oven.csv");
    let rows: Vec<String> = (6..900).map(|t| format!("{t},20\n")).collect();
    fs::write(&source, "t,pv\n5,\n".to_owned() + &rows.concat()).unwrap();
    let text = exported(&source, "part.csv", &["--from", "100s"]);
    assert!(text.starts_with("t,pv\n105,20\n"), "{text}");
    let path = source.to_str().unwrap();
    let step = ["--step-at", "100s", "--target", "510", "--json"];
    let measured = emberline(&[&["measure", path][..], &step].concat()).json();
    assert_eq!(measured["loops"][0]["episodes"][0]["start_s"], 105.0);
}

#[test]
fn a_row_without_end_is_refused_before_it_fills_the_memory() {
    let folder = tempdir().unwrap();
    let source = folder.path().join("oven.csv");
    // A quote that is never closed makes one row of all that follows.
    let rows = "1,20\n".repeat(300_000);
    fs::write(&source, format!("t,pv\n0,20\n0.5,\"20\n{rows}")).unwrap();
    let target = folder.path().join("out.csv");
    let ended = export(&source, &target, &[]);
    ended.failed_with(4, &["oven.csv:3: ", "more than 1048576 bytes", "help: "]);
    assert!(!target.exists());
}

#[test]
fn what_cannot_be_written_is_refused_with_a_way_on() {
    let (folder, recording) = recording();
    let target = |name: &str| folder.path().join(name);
    let day = recording.join("top/2027-03-27.csv");
    let before = fs::read(&day).unwrap();
    for (file, options, said) in [
        (target("lehr.xlsx"), &[][..], "ending"),
        (target("lehr"), &[], "ending"),
        (
            target("lehr.csv"),
            &["--decimal", "comma", "--separator", "comma"],
            "leave out --separator",
        ),
        (target("lehr.tsv"), &["--separator", "semicolon"], "tabs"),
        (target("lehr.csv"), &["--loop", "door"], "top, floor"),
        (day.clone(), &[], "outside"),
        (recording.join("new.csv"), &[], "outside"),
    ] {
        let ended = export(&recording, &file, options);
        ended.failed_with(2, &[said, "help: "]);
    }
    let own = target("own.csv");
    fs::write(&own, "t,pv\n0,20\n").unwrap();
    let as_typed = format!("error: {}: this would", own.display());
    export(&own, &own, &[]).failed_with(2, &[&as_typed, "outside", "help: "]);
    export(&own, &target("x.csv"), &["--local-time"]).failed_with(2, &["no wall time"]);
    export(&own, &target("missing/x.csv"), &[]).failed_with(4, &["could not be written"]);
    export(&target("none.csv"), &target("x.csv"), &[]).failed_with(4, &["none.csv"]);
    assert_eq!(fs::read(&day).unwrap(), before);
    assert_eq!(fs::read_dir(folder.path()).unwrap().count(), 2);
}
