//! Recordings read back: day files by several threads, in order, with every damage named.

use std::fmt::Write as _;
use std::fs;
use std::path::{Path, PathBuf};

use emberline::record::{CsvColumns, OpenLoop, OpenSource, Source, open_source};
use emberline::sample::State;
use emberline::trace::Mode;
use tempfile::{TempDir, tempdir};

const FACTS: &str = r#"
schema = 1
program = "0.1.0"
name = "lehr"
began = "2027-03-01T00:00:00.000Z"
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
"""
"#;
const HEADER: &str = "time,elapsed_s,state,pv_degC\n";
const EVENTS: &str = "time,elapsed_s,event,text\n";
const SETTINGS: &str = "time,elapsed_s,cause,point,role,value,unit\n";

struct Recording {
    _folder: TempDir,
    path: PathBuf,
}

impl Recording {
    fn new() -> Self {
        let folder = tempdir().unwrap();
        let path = folder.path().join("lehr");
        fs::create_dir_all(path.join("top")).unwrap();
        fs::write(path.join("recording.toml"), FACTS).unwrap();
        let recording = Self {
            _folder: folder,
            path,
        };
        recording.write("events.csv", EVENTS);
        recording.write("settings.csv", SETTINGS);
        recording
    }

    fn write(&self, name: &str, text: &str) {
        fs::write(self.path.join("top").join(name), text).unwrap();
    }

    /// A day of March 2027 with these seconds, each a row whose process value is the second.
    fn day(&self, day: u32, seconds: impl IntoIterator<Item = u32>) {
        let row = |second| format!("2027-03-{day:02}T00:00:00.000Z,{second}.000,good,{second}.0\n");
        let rows: String = seconds.into_iter().map(row).collect();
        self.write(
            &format!("2027-03-{day:02}.csv"),
            &(HEADER.to_owned() + &rows),
        );
    }

    fn open(&self, skip_bad: bool) -> Result<OpenSource, String> {
        let columns = CsvColumns {
            skip_bad,
            ..CsvColumns::default()
        };
        open_source(&self.path, &columns).map_err(|error| self.without_folder(&error.to_string()))
    }

    fn read(&self, skip_bad: bool) -> Result<(Source, Vec<String>), String> {
        let read = self.open(skip_bad)?.read();
        let (source, notes) = read.map_err(|error| self.without_folder(&error.to_string()))?;
        let notes = notes.iter().map(|note| self.without_folder(note));
        Ok((source, notes.collect()))
    }

    fn without_folder(&self, text: &str) -> String {
        let folder = format!("{}{}", self.path.display(), std::path::MAIN_SEPARATOR);
        text.replace(&folder, "").replace('\\', "/")
    }
}

/// The times of every sample, block by block, up to an error.
fn times(the_loop: &OpenLoop) -> (Vec<f64>, Option<String>) {
    let mut times = Vec::new();
    for block in the_loop.samples() {
        match block {
            Ok(block) => times.extend(block.iter().map(|sample| sample.time_s)),
            Err(error) => return (times, Some(error.what)),
        }
    }
    (times, None)
}

#[test]
fn day_files_read_at_once_come_in_order() {
    let recording = Recording::new();
    // More than a block each.
    let (days, rows) = (8, 10_000);
    for day in 0..days {
        recording.day(day + 1, day * rows..(day + 1) * rows);
    }
    let opened = recording.open(false).unwrap();
    let expected: Vec<f64> = (0..days * rows).map(f64::from).collect();
    assert_eq!(times(&opened.loops[0]), (expected, None));
    // Whoever has seen enough leaves the rest.
    let first = opened.loops[0].samples().next().unwrap().unwrap();
    assert!(first.len() < rows as usize);
}

#[test]
fn a_damaged_row_ends_the_samples_behind_those_before_it() {
    let recording = Recording::new();
    recording.day(1, 0..10);
    recording.day(2, 10..20);
    recording.day(3, [20, 21, 15, 22]);
    recording.day(4, 30..40);
    let opened = recording.open(false).unwrap();
    let (times, error) = times(&opened.loops[0]);
    // Of the damaged file itself nothing is given.
    assert_eq!(times, (0..20).map(f64::from).collect::<Vec<_>>());
    assert_eq!(error.unwrap(), "elapsed_s 15 is before the row above it");
}

#[test]
fn files_that_overlap_are_named_or_what_comes_again_is_left_out_and_counted() {
    let recording = Recording::new();
    recording.day(1, 0..10);
    recording.day(2, 5..15);
    assert_eq!(
        recording.read(false).unwrap_err(),
        "top/2027-03-02.csv:2: elapsed_s 5 is before the last row of the file before it\n\
         help: the file was altered or damaged; --skip-bad leaves such rows out"
    );
    let (source, notes) = recording.read(true).unwrap();
    let record = &source.loops[0];
    // Second 9 is there twice, which is kept.
    assert_eq!(record.time_s.len(), 16);
    assert_eq!(record.rows, 20);
    assert_eq!(record.bad_rows, [("unreadable".to_owned(), 4)]);
    assert_eq!(
        notes,
        ["top: rows with the time of the row above: 1; they count"]
    );
}

#[test]
fn rows_without_a_process_value_are_samples_and_have_their_state() {
    let recording = Recording::new();
    recording.write(
        "2027-03-01.csv",
        "time,elapsed_s,state,pv_degC\n\
         2027-03-01T00:00:00.500Z,0.500,no-answer,\n\
         2027-03-01T00:00:01.000Z,1.000,good,20.5\n\
         2027-03-01T00:00:02.000Z,2.000,of-a-later-version,\n\
         2027-03-01T00:00:03.000Z,3.0",
    );
    let opened = recording.open(false).unwrap();
    let mut samples = opened.loops[0].samples();
    let block = samples.next().unwrap().unwrap();
    let states: Vec<_> = block.iter().map(|it| it.state.map(State::word)).collect();
    assert_eq!(states, [Some("no-answer"), Some("good"), None]);
    assert!(block[0].pv.is_nan());
    assert!(samples.next().is_none());
    let bad = ["no-answer", "of-a-later-version"].map(|it| (it.to_owned(), 1));
    assert_eq!(
        (samples.counts().rows, &samples.counts().bad[..]),
        (3, &bad[..])
    );

    let (source, _) = recording.read(false).unwrap();
    let record = &source.loops[0];
    assert_eq!(
        (record.first_s, &record.time_s[..]),
        (Some(0.5), &[1.0][..])
    );
}

#[test]
fn damaged_events_and_settings_are_named_or_left_out_and_told() {
    let recording = Recording::new();
    recording.day(1, 0..3);
    let time = "2027-03-01T00:00:01.000Z";
    let events = format!(
        "{EVENTS}{time},1.000,mark,a\n{time},1.0\n{time},one,mark,b\n{time},2.000,mark,c\n"
    );
    recording.write("events.csv", &events);
    let damaged = "help: the file was altered or damaged; 'emberline verify' tells more, --skip-bad reads on over it";
    assert_eq!(
        recording.read(false).unwrap_err(),
        format!("top/events.csv:3: 2 cells where the header has 4\n{damaged}")
    );
    let settings = format!(
        "{SETTINGS}{time},1.000,start,band,proportional,10.0,degC\n{time},,start,band,proportional,10.0,degC\n"
    );
    recording.write("settings.csv", &settings);
    recording.write("events.csv", &events.replace(",1.0\n", ",1.000,mark,\0\n"));
    assert_eq!(
        recording.read(false).unwrap_err(),
        "top/events.csv:3: there are NUL bytes in the row\n\
         help: the file was altered or damaged there; --skip-bad reads on over such rows"
    );
    let (source, notes) = recording.read(true).unwrap();
    assert_eq!(
        notes,
        [
            "top/events.csv: damaged rows that are left out: 2",
            "top/settings.csv: damaged rows that are left out: 1",
        ]
    );
    let texts: Vec<&str> = source.loops[0]
        .events
        .iter()
        .map(|it| it.text.as_str())
        .collect();
    assert_eq!(texts, ["a", "c"]);
    assert_eq!(source.loops[0].settings.len(), 1);
    recording.write("events.csv", EVENTS);
    assert_eq!(
        recording.read(false).unwrap_err(),
        format!("top/settings.csv:3: elapsed_s \"\" is no number\n{damaged}")
    );
}

#[test]
fn a_file_that_is_missing_is_named() {
    let recording = Recording::new();
    fs::remove_file(recording.path.join("top/events.csv")).unwrap();
    let error = recording.read(true).unwrap_err();
    assert!(
        error.starts_with("top/events.csv: cannot be read: "),
        "{error}"
    );
    let none = open_source(Path::new("no/such/file.csv"), &CsvColumns::default());
    assert!(none.unwrap_err().to_string().contains("cannot be read: "));
}

#[test]
fn a_mode_that_is_polled_with_every_row_is_told_like_a_slow_point() {
    let folder = tempdir().unwrap();
    let mode = "[points.mode]\nrole = \"mode\"\ntable = \"holding\"\naddress = 1\nencoding = \"u16\"\n\
                means = { \"0\" = \"automatic\", \"1\" = \"manual\" }\n";
    let facts = FACTS.replace("unit = \"degC\"\n", &format!("unit = \"degC\"\n{mode}"));
    fs::write(folder.path().join("recording.toml"), facts).unwrap();
    fs::create_dir(folder.path().join("top")).unwrap();
    let mut rows = String::from("time,elapsed_s,state,pv_degC,mode\n");
    for second in 0..90 {
        let mode = match second {
            40..60 => "1",
            // A row that brought nothing is no change.
            70 => "",
            _ => "0",
        };
        let (minute, rest) = (second / 60, second % 60);
        let time = format!("2027-03-01T00:{minute:02}:{rest:02}.000Z");
        writeln!(rows, "{time},{second}.000,good,510.0,{mode}").unwrap();
    }
    fs::write(folder.path().join("top/2027-03-01.csv"), rows).unwrap();
    for (file, header) in [
        ("events.csv", "time,elapsed_s,event,text\n"),
        (
            "settings.csv",
            "time,elapsed_s,cause,point,role,value,unit\n",
        ),
    ] {
        fs::write(folder.path().join("top").join(file), header).unwrap();
    }
    let opened = open_source(folder.path(), &CsvColumns::default()).unwrap();
    assert_eq!(opened.loops[0].changes_s().unwrap(), [40.0, 60.0]);
    let (source, _) = opened.read().unwrap();
    let told = source.loops[0].told();
    let modes: Vec<_> = told
        .modes
        .iter()
        .map(|(at_s, mode)| (*at_s, *mode))
        .collect();
    let expected = [
        (0.0, Mode::Automatic),
        (40.0, Mode::Manual),
        (60.0, Mode::Automatic),
    ];
    assert_eq!(modes, expected);
    assert_eq!(told.changes_s, [40.0, 60.0]);
}
