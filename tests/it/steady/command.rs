//! `emberline steady`, from its arguments to what it writes.

use std::fmt::Write as _;
use std::fs;
use std::path::{Path, PathBuf};

use clap::Parser;
use emberline::cli::Exit;
use emberline::cli::steady::{SteadyArgs, run};
use emberline::record::open_source;
use serde_json::Value;

use super::noise;

#[derive(Parser)]
struct Line {
    #[command(flatten)]
    steady: SteadyArgs,
}

/// How the command ends for a file, and what it writes; or why it does not.
fn steady(file: &Path, options: &[&str]) -> Result<(Exit, String), String> {
    let mut words = vec!["steady", file.to_str().unwrap()];
    words.extend(options);
    let args = Line::try_parse_from(words).map_err(|error| error.to_string())?;
    let args = args.steady;
    let source = open_source(&args.source, &args.reading.columns());
    let source = source.map_err(|error| error.to_string())?;
    let mut out = Vec::new();
    let exit = run(&args, &source, &mut out).map_err(|stop| stop.text)?;
    Ok((exit, String::from_utf8(out).unwrap()))
}

fn text(file: &Path, options: &[&str]) -> String {
    steady(file, options).unwrap().1
}

fn json(file: &Path, options: &[&str]) -> Value {
    serde_json::from_str(&text(file, &[options, &["--json"]].concat())).unwrap()
}

fn written(folder: &Path, name: &str, text: &str) -> PathBuf {
    let path = folder.join(name);
    fs::write(&path, text).unwrap();
    path
}

/// Four days at 510, a row every minute: a daily swing, a cycle of twenty minutes, and once a door.
fn oven(folder: &Path) -> PathBuf {
    let mut text = String::from("time,pv_degC,sp_degC,out_pct\n");
    let mut chance = noise(3);
    for minute in 0..4 * 1440 {
        let t = f64::from(minute);
        let door = if (2000..2012).contains(&minute) {
            -4.0
        } else {
            0.0
        };
        let wave =
            |amplitude: f64, minutes: f64| amplitude * (t / minutes * std::f64::consts::TAU).sin();
        let pv = 510.0 + wave(0.3, 1440.0) + wave(0.4, 20.0) + 0.1 * chance() + door;
        let out = 42.0 - wave(1.0, 1440.0) + t / 1440.0 * 0.5;
        let (day, hour) = (4 + minute / 1440, minute / 60 % 24);
        writeln!(
            text,
            "2027-03-{day:02}T{hour:02}:{:02}:00Z,{pv:.1},510.0,{out:.1}",
            minute % 60
        )
        .unwrap();
    }
    written(folder, "oven.csv", &text)
}

#[test]
fn people_get_figures_and_tables_that_fit() {
    let folder = tempfile::tempdir().unwrap();
    let options = [
        "--band",
        "1.5",
        "--cycle-time",
        "20s",
        "--relay-life",
        "100000",
    ];
    let text = text(&oven(folder.path()), &options);
    insta::assert_snapshot!(text);
    let widest = text.lines().map(|line| line.chars().count()).max();
    assert!(widest <= Some(80), "{widest:?}");
}

#[test]
fn json_has_every_name_of_the_contract_and_what_was_put_in() {
    let folder = tempfile::tempdir().unwrap();
    let options = [
        "--band",
        "1.5",
        "--cycle-time",
        "20s",
        "--relay-life",
        "100000",
    ];
    let document = json(&oven(folder.path()), &options);
    assert_eq!(document["source"], "oven.csv");
    let one = &document["loops"][0];
    let names = "loop unit count missing_s excluded_s mean sd min max p01 p05 p50 p95 p99 lag1 in_band_pct \
                 excursions drift_per_day drift_ci95 output cycle allan hours days notes";
    for name in names.split_whitespace() {
        assert!(
            one.as_object().unwrap().contains_key(name),
            "{name} is missing"
        );
    }
    assert_eq!(
        (&one["loop"], &one["unit"]),
        (&"oven".into(), &"degC".into())
    );
    assert_eq!(
        (&one["count"], &one["around"]),
        (&5760.into(), &510.0.into())
    );
    let number = |value: &Value| value.as_f64().unwrap();
    assert!(
        (number(&one["cycle"]["period_s"]) - 1200.0).abs() < 2.0,
        "{}",
        one["cycle"]
    );
    assert!(
        (number(&one["cycle"]["amplitude"]) - 0.4).abs() < 0.02,
        "{}",
        one["cycle"]
    );
    assert!(
        (number(&one["output"]["drift_per_day"]) - 0.5).abs() < 0.02,
        "{}",
        one["output"]
    );
    // Always between 0 and 100 %: 86,400 s over 20 s.
    assert_eq!(one["relay"]["operations_per_day"], 4320.0);
    assert!((number(&one["relay"]["life_days"]) - 100_000.0 / 4320.0).abs() < 1e-9);
    let excursion = &one["excursions"][0];
    let start = excursion["start"].as_str().unwrap();
    assert!(start.starts_with("2027-03-05T09:"), "{start}");
    assert!(number(&excursion["peak"]) < -3.0 && number(&excursion["duration_s"]) > 600.0);
    assert_eq!(one["hours"].as_array().unwrap().len(), 24);
    let days = one["days"].as_array().unwrap();
    assert_eq!((days.len(), &days[1]["day"]), (4, &"2027-03-05".into()));
    assert_eq!(days[0]["count"], 1440);
    assert!(number(&days[1]["in_band_pct"]) < 100.0);
    assert_eq!(one["allan"][0]["tau_s"], 60.0);
}

#[test]
fn tables_are_written_for_spreadsheets() {
    let folder = tempfile::tempdir().unwrap();
    let file = oven(folder.path());
    let table = |option: &str| {
        let text = text(&file, &["--band", "1.5", option]);
        text.lines().map(str::to_owned).collect::<Vec<_>>()
    };
    let figures = table("--csv");
    assert!(figures[0].starts_with("loop,unit,count,"), "{figures:?}");
    assert_eq!(figures.len(), 2);
    let days = table("--csv=days");
    assert_eq!(days.len(), 5);
    assert!(days[0].starts_with("loop,day,count,mean,sd,"), "{days:?}");
    assert!(days[1].starts_with("oven,2027-03-04,1440,"), "{days:?}");
    assert_eq!(table("--csv=hours").len(), 25);
    assert!(table("--csv=excursions")[0].starts_with("loop,start,start_s,"));
    assert!(table("--csv=allan")[1].starts_with("oven,60.0,"));
}

#[test]
fn a_part_can_be_taken_and_counts_its_own_time() {
    let folder = tempfile::tempdir().unwrap();
    let document = json(
        &oven(folder.path()),
        &[
            "--band",
            "1.5",
            "--from",
            "2027-03-06T00:00:00Z",
            "--to",
            "3d",
        ],
    );
    let one = &document["loops"][0];
    assert_eq!(
        (&one["count"], &one["counted_s"]),
        (&1441.into(), &86_400.0.into())
    );
    assert_eq!(one["excursion_count"], 0);
}

#[test]
fn wrong_numbers_are_refused_with_what_is_right() {
    let folder = tempfile::tempdir().unwrap();
    let file = oven(folder.path());
    let refused = |options: &[&str]| steady(&file, options).unwrap_err();
    for band in ["0", "-1.5", "NaN", "wide"] {
        assert!(
            refused(&["--band", band]).contains("a number of degrees above 0"),
            "{band}"
        );
    }
    for time in ["0s", "-3s", "soon"] {
        let option = format!("--cycle-time={time}");
        assert!(
            refused(&[&option]).contains("longer than nothing, as in 20s"),
            "{time}"
        );
    }
    assert!(refused(&["--relay-life", "-5"]).contains("as in 100000"));
    assert!(refused(&["--around", "inf"]).contains("a number of degrees"));
    let wall = written(folder.path(), "seconds.csv", "t,pv\n0,510\n1,511\n");
    let error = steady(&wall, &["--from", "2027-03-04T06:00:00Z"]).unwrap_err();
    assert!(error.contains("has no wall time, only seconds"), "{error}");
}

#[test]
fn a_record_in_which_nothing_counts_ends_with_1_and_says_why() {
    let folder = tempfile::tempdir().unwrap();
    let ended = |name: &str, rows: &str| {
        let file = written(folder.path(), name, rows);
        let (exit, text) = steady(&file, &["--band", "2"]).unwrap();
        assert_eq!(exit, Exit::NotMet, "{text}");
        text
    };
    let text = ended("short.csv", "t,pv,sp\n0,510,510\n1,511,510\n2,510,510\n");
    assert!(text.contains("no hold of more than five minutes"), "{text}");
    let text = ended("header.csv", "t,pv,sp\n");
    assert!(text.contains("no process value"), "{text}");
    let text = ended("one.csv", "t,pv,sp\n5,510,510\n");
    assert!(text.contains("a single one"), "{text}");
    // Without a setpoint a single sample counts, but has no spread.
    let file = written(folder.path(), "lone.csv", "t,pv\n5,510\n");
    let (exit, text) = steady(&file, &["--around", "510", "--band", "2"]).unwrap();
    assert_eq!(exit, Exit::Done);
    assert!(text.contains("only one sample counts"), "{text}");
}
