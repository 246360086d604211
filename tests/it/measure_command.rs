//! `emberline measure`, from its arguments to what it writes.

use std::fmt::Write as _;
use std::fs;
use std::path::Path;

use clap::Parser;
use emberline::cli::measure::{MeasureArgs, run};
use emberline::record::{OpenSource, open_source};
use serde_json::Value;

#[derive(Parser)]
struct Line {
    #[command(flatten)]
    measure: MeasureArgs,
}

/// What the command writes for a file, or why it does not.
fn measure(file: &Path, options: &[&str]) -> Result<String, String> {
    let mut words = vec!["measure", file.to_str().unwrap()];
    words.extend(options);
    let args = Line::try_parse_from(words)
        .map_err(|error| error.to_string())?
        .measure;
    let read = open_source(&args.source, &args.reading.columns()).and_then(OpenSource::read);
    let (source, _) = read.map_err(|error| error.to_string())?;
    let mut out = Vec::new();
    run(&args, &source, &mut out).map_err(|error| error.to_string())?;
    Ok(String::from_utf8(out).unwrap())
}

pub(super) fn json(file: &Path, options: &[&str]) -> Value {
    let options = [options, &["--json"]].concat();
    serde_json::from_str(&measure(file, &options).unwrap()).unwrap()
}

fn reference(name: &str) -> std::path::PathBuf {
    Path::new(env!("CARGO_MANIFEST_DIR"))
        .join("tests/reference/step")
        .join(name)
}

/// Ten minutes at 490 degrees, then a step to 510 that swings and dies away, then a door.
fn annealer(folder: &Path) -> std::path::PathBuf {
    let mut text = String::from("time,pv_degC,sp_degC,out_pct\n");
    for second in 0..5400 {
        let t = f64::from(second) - 600.0;
        let (sp, swing) = if t < 0.0 {
            (490.0, 0.0)
        } else {
            (510.0, -20.0 * (-t / 400.0).exp() * (t / 120.0).cos())
        };
        let (minute, rest) = (second / 60, second % 60);
        let pv = (10.0 * (sp + swing)).round() / 10.0;
        let out = if (0.0..120.0).contains(&t) {
            100.0
        } else {
            50.0
        };
        let time = format!(
            "2027-03-04T{:02}:{:02}:{rest:02}Z",
            6 + minute / 60,
            minute % 60
        );
        writeln!(text, "{time},{pv:.1},{sp:.1},{out:.1}").unwrap();
    }
    let path = folder.join("annealer.csv");
    fs::write(&path, text).unwrap();
    path
}

#[test]
fn people_get_a_list_and_the_figures_of_each_step() {
    let folder = tempfile::tempdir().unwrap();
    let text = measure(&annealer(folder.path()), &["--band", "2"]).unwrap();
    insta::assert_snapshot!(text);
    let widest = text.lines().map(|line| line.chars().count()).max();
    assert!(widest <= Some(80), "{widest:?}");
}

#[test]
fn json_has_every_name_of_the_contract() {
    let folder = tempfile::tempdir().unwrap();
    let document = json(&annealer(folder.path()), &["--band", "2"]);
    assert_eq!(document["source"], "annealer.csv");
    let only = &document["loops"][0];
    assert_eq!(
        (&only["loop"], &only["unit"]),
        (&"annealer".into(), &"degC".into())
    );
    let names = "kind start start_s end_s from to overshoot overshoot_pct peak_s rise_s settling_s \
                 settling_band settling_2pct_s final_error iae ise itae itse window_s noise_sd \
                 period_s amplitude decay_ratio missing_s notes rate_per_min following_mean \
                 following_max in_band_s output_from output_to outcome cycles amplitude_spread \
                 period_spread_s ultimate_gain ultimate_period_s depth return_s sd peak_to_peak";
    for episode in only["episodes"].as_array().unwrap() {
        let object = episode.as_object().unwrap();
        for name in names.split(' ') {
            assert!(object.contains_key(name), "{name} is missing in {episode}");
        }
    }
    // And beside those of the contract where a step began, and its overshoot without noise.
    let names = names.split_whitespace().count() + 2;
    assert_eq!(only["episodes"][0].as_object().unwrap().len(), names);
    let step = &only["episodes"][1];
    assert_eq!(step["kind"], "setpoint-step");
    assert_eq!(step["start"], "2027-03-04T06:10:00.000Z");
    assert_eq!(step["start_s"], 600.0);
    assert_eq!((&step["from"], &step["to"]), (&490.0.into(), &510.0.into()));
    let note = &step["notes"][0];
    assert!(note["code"].is_string() && note["about"].is_string() && note["text"].is_string());
}

#[test]
fn a_record_that_begins_with_its_step_is_measured_as_told() {
    let file = reference("02_second_order_z0.2.csv");
    let told = json(&file, &["--step-at", "0"]);
    let step = &told["loops"][0]["episodes"][0];
    assert_eq!(
        (&step["kind"], &step["start"]),
        (&"setpoint-step".into(), &Value::Null)
    );
    let overshoot = step["overshoot_pct"].as_f64().unwrap();
    assert!((overshoot - 52.660_989_059_691_765).abs() < 1e-9);
    // Without being told there is only one setpoint in the record.
    let untold = json(&file, &[]);
    assert_eq!(untold["loops"][0]["episodes"][0]["kind"], "hold");
}

#[test]
fn a_part_of_the_record_and_one_episode_can_be_chosen() {
    let folder = tempfile::tempdir().unwrap();
    let file = annealer(folder.path());
    let late = json(&file, &["--from", "2027-03-04T06:05:00Z", "--to", "50m"]);
    let episodes = late["loops"][0]["episodes"].as_array().unwrap();
    assert_eq!(
        episodes[0]["kind"], "setpoint-step",
        "five minutes are no hold"
    );
    assert_eq!(episodes[0]["end_s"], 3000.0);
    let second = json(&file, &["--episode", "2"]);
    assert_eq!(second["loops"][0]["episodes"].as_array().unwrap().len(), 1);
    assert_eq!(second["loops"][0]["episodes"][0]["kind"], "setpoint-step");
}

#[test]
fn what_is_not_there_is_said_with_a_way_out() {
    let folder = tempfile::tempdir().unwrap();
    let file = annealer(folder.path());
    let refused = |options: &[&str]| measure(&file, options).unwrap_err();
    assert_eq!(
        refused(&["--episode", "9"]),
        "annealer.csv has no episode 9\nhelp: leave out --episode to list them all"
    );
    assert_eq!(
        refused(&["--loop", "bottom"]),
        "annealer.csv has no loop \"bottom\"\nhelp: its loops are annealer"
    );
    assert!(refused(&["--band", "-1"]).contains("a number of degrees above 0"));
    assert!(refused(&["--cycle-time", "0s"]).contains("longer than nothing"));
    assert!(refused(&["--step-at", "2028-01-01T00:00:00Z"]).contains("no step can begin at"));
    let seconds = reference("01_first_order.csv");
    let wall = measure(&seconds, &["--from", "2027-03-04T06:00:00Z"]).unwrap_err();
    assert!(wall.contains("has no wall time, only seconds"), "{wall}");
}
