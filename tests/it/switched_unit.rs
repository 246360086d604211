//! A controller that is switched from degC to degF while it is polled: the recording, its readers,
//! its events and its follower.

use std::fs;
use std::path::{Path, PathBuf};
use std::sync::{Arc, Mutex};
use std::time::Duration;

use chrono::{DateTime, Utc};
use emberline::clock::Clock;
use emberline::line::{Opened, Opener, Pace};
use emberline::record::{CsvColumns, Follower, Recorder, Unfinished, open_source, verify};
use emberline::sample::{Entry, Happening, Reading, Sample, State, Units};
use emberline::setup::{LineSetup, Setup};
use futures_util::FutureExt as _;
use mock_device::wire::{is_sealed, sealed};
use tempfile::TempDir;
use tokio::io::{AsyncReadExt as _, AsyncWriteExt as _, DuplexStream};

use super::played::{Played, paused};

const MAP: &str = r#"
schema = 1
title = "Switchable controller"

[points.pv]
role = "process-value"
table = "holding"
address = 0
encoding = "i16"
scale = 0.1
unit_from = "unit"

[points.sp]
role = "setpoint"
table = "holding"
address = 1
encoding = "i16"
scale = 0.1
unit_from = "unit"

[points.out]
role = "output"
table = "holding"
address = 2
encoding = "u16"
scale = 0.1
unit = "%"

[points.unit]
role = "other"
table = "holding"
address = 3
encoding = "u16"
names = { "0" = "°C", "1" = "°F" }
refresh = "settings"

[points.band]
role = "proportional"
table = "holding"
address = 4
encoding = "u16"
scale = 0.1
unit_from = "unit"
refresh = "settings"
"#;
/// 490.0 degC, 510.0 degC, 40 %, degC, a band of 10.0 degC; and the same in degF.
const CELSIUS: [u16; 5] = [4900, 5100, 400, 0, 100];
const FAHRENHEIT: [u16; 5] = [9140, 9500, 400, 1, 180];

fn setup() -> Setup {
    let text = "schema = 1\n[lines.bench]\nserial = \"simulated\"\n[[loops]]\nname = \"oven\"\n\
                line = \"bench\"\nunit_number = 1\nmap = \"map\"\nevery = \"1 s\"\n";
    Setup::parse(text, "bench", "bench", &|_| Ok(MAP.to_owned())).unwrap()
}

type Registers = Arc<Mutex<[u16; 5]>>;

/// Answers function 03 from these registers.
async fn serve(mut wire: DuplexStream, registers: Registers) {
    let mut request = [0; 8];
    while wire.read_exact(&mut request).await.is_ok() {
        assert!(is_sealed(&request) && request[1] == 3, "{request:?}");
        let (first, count) = (usize::from(request[3]), usize::from(request[5]));
        let words = registers.lock().unwrap()[first..first + count].to_vec();
        let mut answer = vec![1, 3, 2 * request[5]];
        answer.extend(words.iter().flat_map(|word| word.to_be_bytes()));
        wire.write_all(&sealed(answer)).await.unwrap();
    }
}

fn opener(line: &LineSetup, registers: &Registers) -> Opener {
    let (pace, registers) = (Pace::of(&line.port), registers.clone());
    Box::new(move || {
        let (ours, theirs) = tokio::io::duplex(256);
        tokio::spawn(serve(theirs, registers.clone()));
        let wire = Box::new(ours);
        async move { Ok(Opened { wire, pace }) }.boxed()
    })
}

/// Ten polls in degC, ten in degF, ten in degC again, recorded into `into`.
async fn record(into: &Path) -> Vec<Entry> {
    let registers = Arc::new(Mutex::new(CELSIUS));
    let switched = registers.clone();
    tokio::spawn(async move {
        for words in [FAHRENHEIT, CELSIUS] {
            tokio::time::sleep(Duration::from_millis(10_500)).await;
            *switched.lock().unwrap() = words;
        }
    });
    let mut opener = |line: &LineSetup| opener(line, &registers);
    let length = Duration::from_secs(30);
    let mut played = Played::begin(&setup(), &mut opener, length, Some(into)).await;
    let mut entries = Vec::new();
    while let Some(entry) = played.next().await {
        entries.push(entry);
    }
    entries
}

/// Such a recording, and what was heard while it was made.
struct Made {
    _into: TempDir,
    recording: PathBuf,
    entries: Vec<Entry>,
}

impl Made {
    fn new() -> Self {
        let into = tempfile::tempdir().unwrap();
        Self {
            entries: paused().block_on(record(into.path())),
            recording: into.path().join("1970-01-01T00-00-00Z_played"),
            _into: into,
        }
    }

    fn text(&self, name: &str) -> String {
        fs::read_to_string(self.recording.join("oven").join(name)).unwrap()
    }
}

#[test]
fn a_switched_unit_is_one_event_and_moves_neither_setpoint_nor_band() {
    let made = Made::new();
    let of_loop = |entry: &Entry| match entry {
        Entry::Event(event) if event.of.is_some() => Some((event.what, event.text.clone())),
        _ => None,
    };
    let events: Vec<(Happening, String)> = made.entries.iter().filter_map(of_loop).collect();
    let switch = |text: &str| (Happening::SettingsChanged, text.to_owned());
    assert_eq!(events, [switch("unit °C -> °F"), switch("unit °F -> °C")]);
}

#[test]
fn a_switched_unit_begins_a_new_file_whose_columns_tell_it() {
    let made = Made::new();
    let files = ["1970-01-01.csv", "1970-01-01_2.csv", "1970-01-01_3.csv"].map(|it| made.text(it));
    let celsius = ("pv_degC,sp_degC,out_pct\n", ",490.0,510.0,40.0\n");
    let fahrenheit = ("pv_degF,sp_degF,out_pct\n", ",914.0,950.0,40.0\n");
    let mut rows = 0;
    for (file, (columns, cells)) in files.iter().zip([celsius, fahrenheit, celsius]) {
        assert!(
            file.starts_with(&format!("time,elapsed_s,state,{columns}")),
            "{file}"
        );
        rows += file.lines().count() - 1;
        assert_eq!(
            file.matches(cells).count(),
            file.lines().count() - 1,
            "{file}"
        );
    }
    assert_eq!(rows, 30);
    let settings = made.text("settings.csv");
    for row in [
        "band,proportional,10.0,degC\n",
        "band,proportional,18.0,degF\n",
    ] {
        assert!(settings.contains(row), "{settings}");
    }
    assert!(verify(&made.recording).unwrap().is_whole());
}

#[test]
fn a_reader_gets_one_unit_and_a_follower_that_of_each_row() {
    let made = Made::new();
    let opened = open_source(&made.recording, &CsvColumns::default()).unwrap();
    let (source, _) = opened.read().unwrap();
    let record = &source.loops[0];
    assert_eq!(record.unit.as_deref(), Some("degC"));
    assert_eq!(record.pv, [490.0; 30]);
    assert_eq!(record.setpoint.as_deref(), Some(&[510.0; 30][..]));

    let unit = |entry: &Entry| match entry {
        Entry::Sample(sample) => sample.units[0].clone(),
        _ => None,
    };
    let followed = Follower::open(&made.recording).unwrap().news().unwrap();
    let units = |entries: &[Entry]| -> Vec<Arc<str>> { entries.iter().filter_map(unit).collect() };
    assert_eq!(units(&followed), units(&made.entries));
    assert_eq!(
        units(&followed)
            .iter()
            .filter(|it| &***it == "degF")
            .count(),
        10
    );
}

fn sample(setup: &Setup, second: u64, unit: Option<&str>) -> Entry {
    let degrees = unit.map(Arc::from);
    let units: Units = Arc::new([degrees.clone(), degrees, Some("%".into())]);
    let time = DateTime::<Utc>::UNIX_EPOCH + Duration::from_secs(second);
    let number = |value: i64| Reading::Good(emberline::number::Number::Decimal(value.into()));
    Entry::Sample(Sample {
        of: setup.loops[0].name.clone(),
        stamp: emberline::clock::Stamp {
            elapsed: Duration::from_secs(second),
            time,
        },
        state: State::Good,
        readings: Arc::new([number(490), number(510), number(40)]),
        units,
    })
}

#[test]
fn a_recording_that_goes_on_after_a_crash_goes_on_in_the_file_of_its_unit() {
    let into = tempfile::tempdir().unwrap();
    let setup = setup();
    let clock = Clock::starting_at(DateTime::UNIX_EPOCH);
    let mut recorder = Recorder::create(into.path(), "oven", &setup, &clock).unwrap();
    for (second, unit) in [(0, "degC"), (1, "degF")] {
        recorder.write(&sample(&setup, second, Some(unit))).unwrap();
    }
    let recording = recorder.folder().to_owned();
    drop(recorder);

    let unfinished = Unfinished::find(into.path(), "oven", &setup)
        .unwrap()
        .unwrap();
    let mut recorder = Recorder::resume(unfinished, &setup, &clock).unwrap();
    // The unit is not known yet, then as before, then another.
    for (second, unit) in [(2, None), (3, Some("degF")), (4, Some("degC"))] {
        recorder.write(&sample(&setup, second, unit)).unwrap();
    }
    drop(recorder);
    let lines = |name: &str| {
        let text = fs::read_to_string(recording.join("oven").join(name));
        text.unwrap().lines().count()
    };
    let counts = ["1970-01-01.csv", "1970-01-01_2.csv", "1970-01-01_3.csv"].map(lines);
    assert_eq!(counts, [2, 4, 2]);
}
