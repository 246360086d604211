//! Reads a recording, or one loop of it, into columns.

use std::fs;
use std::path::{Path, PathBuf};
use std::sync::Arc;

use chrono::{DateTime, Utc};
use rust_decimal::Decimal;

use super::csv_file::{CsvFile, CsvRow, Writer};
use super::facts::{FactsFile, SCHEMA};
use super::layout::{self, EVENTS_FILE, FACTS_FILE, SETTINGS_FILE, units_of_header};
use super::read_error::ReadError;
use super::rows::{Row, whole_rows};
use super::source::{LoopRecord, RecordedEvent, RecordedSetting, RecordingFacts, Source};
use crate::map::{Map, Role};
use crate::number::Number;
use crate::sample::{Happening, Reading};
use crate::setup::{LoopSetup, Setup};
use crate::unit::{Degrees, Quantity};

/// In the place of a state: a row that was left out.
pub(super) const UNREADABLE: &str = "unreadable";

/// A recording's folder and the setup it was made with.
#[derive(Debug)]
pub struct Opened {
    /// The folder.
    pub folder: PathBuf,
    /// The setup and the maps as they were used.
    pub setup: Setup,
    /// What the recording says about itself.
    pub facts: RecordingFacts,
}

/// Whether `path` is a recording's folder.
pub fn is_recording(path: &Path) -> bool {
    path.join(FACTS_FILE).is_file()
}

/// Opens a recording without reading its rows.
///
/// # Errors
/// `recording.toml` is missing, damaged, or of a later schema.
pub fn open(folder: &Path) -> Result<Opened, ReadError> {
    let path = folder.join(FACTS_FILE);
    let text = fs::read_to_string(&path).map_err(|error| {
        ReadError::of_file(
            &path,
            format!("could not be read: {error}"),
            "name a recording's folder or a CSV file",
        )
    })?;
    let damaged =
        |what: String| ReadError::of_file(&path, what, "the recording was altered or damaged");
    let file = FactsFile::parse(&text).map_err(|error| damaged(error.to_string()))?;
    if file.schema > SCHEMA {
        let what = format!(
            "schema {} is later than this program's {SCHEMA}",
            file.schema
        );
        return Err(ReadError::of_file(
            &path,
            what,
            format!("use Emberline {} or later", file.program),
        ));
    }
    let map_text = |name: &str| {
        file.maps.get(name).cloned().ok_or_else(|| {
            std::io::Error::new(std::io::ErrorKind::NotFound, "not in the recording")
        })
    };
    let setup = Setup::parse(&file.setup.text, FACTS_FILE, &file.setup.name, &map_text)
        .map_err(|errors| damaged(errors.to_string()))?;
    let began = wall_time(&file.began)
        .ok_or_else(|| damaged(format!("began {:?} is no time", file.began)))?;
    let ended = file.ended.as_deref().and_then(wall_time);
    let facts = RecordingFacts {
        began,
        ended,
        program: file.program,
        job: setup.job.clone(),
    };
    Ok(Opened {
        folder: folder.to_owned(),
        setup,
        facts,
    })
}

/// Reads a recording, or the loop whose folder `path` is.
///
/// # Errors
/// As [`open`], and any row that cannot be read, with file and row. With `skip_bad` such rows of
/// samples are counted instead, in the loop's `bad_rows`.
pub fn read_recording(path: &Path, skip_bad: bool) -> Result<Source, ReadError> {
    let (opened, loops) = loops_of(path)?;
    let read = |the_loop: &LoopSetup| {
        let folder = opened.folder.join(the_loop.name.as_str());
        read_loop(&folder, the_loop, opened.facts.began, skip_bad)
    };
    let loops = loops.iter().map(read).collect::<Result<Vec<_>, _>>()?;
    let name = path
        .file_name()
        .map_or_else(String::new, |name| name.to_string_lossy().into_owned());
    Ok(Source {
        name,
        facts: Some(opened.facts),
        loops,
    })
}

/// The recording that `path` is or lies in, and its loops: all of them, or the one whose folder
/// `path` is.
pub(super) fn loops_of(path: &Path) -> Result<(Opened, Vec<LoopSetup>), ReadError> {
    let inside = path.parent().is_some_and(is_recording);
    if !is_recording(path) && !inside {
        let what = format!("is no recording: there is no {FACTS_FILE} in it");
        return Err(ReadError::of_file(
            path,
            what,
            "name a recording's folder, a loop's folder in it, or a CSV file",
        ));
    }
    let (folder, only) = if is_recording(path) {
        (path, None)
    } else {
        (path.parent().unwrap_or(path), path.file_name())
    };
    let opened = open(folder)?;
    let mut loops = opened.setup.loops.clone();
    loops.retain(|it| only.is_none_or(|only| only == it.name.as_str()));
    if loops.is_empty() {
        let names: Vec<&str> = opened
            .setup
            .loops
            .iter()
            .map(|it| it.name.as_str())
            .collect();
        let help = format!("the recording's loops are {}", names.join(", "));
        return Err(ReadError::of_file(
            path,
            "is no loop of its recording",
            help,
        ));
    }
    Ok((opened, loops))
}

/// The day files of a loop's folder, in order.
pub(crate) fn day_files(folder: &Path) -> Result<Vec<PathBuf>, ReadError> {
    let unreadable = |error: std::io::Error| {
        ReadError::of_file(
            folder,
            format!("could not be read: {error}"),
            "check that the whole recording was copied",
        )
    };
    layout::day_files(folder).map_err(unreadable)
}

fn read_loop(
    folder: &Path,
    the_loop: &LoopSetup,
    began: DateTime<Utc>,
    skip_bad: bool,
) -> Result<LoopRecord, ReadError> {
    let mut columns = Columns::new(&the_loop.map);
    for path in day_files(folder)? {
        let mut file = CsvFile::open(&path, Writer::Emberline)?;
        columns.begin_file(&the_loop.map, file.header());
        while let Some(row) = file.next_row()? {
            let read = row.and_then(|it| columns.push(&the_loop.map, &path, &it));
            match read {
                Err(_) if skip_bad => columns.skip(),
                read => read?,
            }
        }
    }
    Ok(LoopRecord {
        name: the_loop.name.to_string(),
        controller: Some(the_loop.map.title.clone()),
        unit: columns.unit.map(|unit| unit.to_string()),
        band: the_loop.band,
        began: Some(began),
        time_s: columns.time_s,
        pv: columns.pv,
        setpoint: columns.at.setpoint.is_some().then_some(columns.setpoint),
        output: columns.at.output.is_some().then_some(columns.output),
        autotune: columns.at.autotune.is_some().then_some(columns.autotune),
        rows: columns.rows,
        bad_rows: columns.bad_rows,
        events: read_events(&folder.join(EVENTS_FILE))?,
        settings: read_settings(&folder.join(SETTINGS_FILE), &the_loop.map)?,
    })
}

/// Columns that grow row by row.
#[derive(Debug, Default)]
struct Columns {
    points: usize,
    at: At,
    /// Of the process value in the first file that tells it; the temperatures of all files are in it.
    unit: Option<Arc<str>>,
    /// How to get there from the units of the present file.
    from: Option<(Degrees, Degrees)>,
    time_s: Vec<f64>,
    pv: Vec<f64>,
    setpoint: Vec<f64>,
    output: Vec<f64>,
    autotune: Vec<bool>,
    rows: usize,
    bad_rows: Vec<(String, usize)>,
}

/// Which trend point is what.
#[derive(Debug, Default)]
struct At {
    pv: Option<usize>,
    setpoint: Option<usize>,
    output: Option<usize>,
    autotune: Option<usize>,
}

impl Columns {
    fn new(map: &Map) -> Self {
        let at = |role: Role| map.trend_points().position(|point| point.role == role);
        let at = At {
            pv: at(Role::ProcessValue),
            setpoint: at(Role::WorkingSetpoint).or_else(|| at(Role::Setpoint)),
            output: at(Role::Output),
            autotune: at(Role::AutotuneActive),
        };
        Self {
            points: map.trend_points().count(),
            at,
            ..Self::default()
        }
    }

    /// Takes what a file's header tells of units.
    fn begin_file(&mut self, map: &Map, header: &[String]) {
        let units = units_of_header(map, header.iter().map(String::as_str));
        let unit = self.at.pv.and_then(|pv| units.get(pv).cloned().flatten());
        if self.unit.is_none() {
            self.unit.clone_from(&unit);
        }
        let degrees = |unit: &Option<Arc<str>>| Degrees::from_word(unit.as_deref()?);
        self.from = degrees(&unit).zip(degrees(&self.unit));
    }

    /// Adds a row; one that cannot be read changes nothing.
    fn push(&mut self, map: &Map, path: &Path, row: &CsvRow) -> Result<(), ReadError> {
        let number = row.number;
        let row = Row::parse(path, number, &row.cells, self.points)?;
        if self.time_s.last().is_some_and(|last| *last > row.elapsed_s) {
            let what = format!("elapsed_s {} is before the row above it", row.elapsed_s);
            let help = "the file was altered or damaged; --skip-bad leaves such rows out";
            return Err(ReadError::of_row(path, number, what, help));
        }
        let value =
            |point: Option<usize>| point.map_or(Ok(None), |point| row.value(path, number, point));
        let temperature = |value: Option<f64>| match self.from {
            Some((from, to)) => value.map(|it| from.convert_f64(it, to, Quantity::Temperature)),
            None => value,
        };
        let (pv, setpoint) = (value(self.at.pv)?, value(self.at.setpoint)?);
        let (pv, setpoint) = (temperature(pv), temperature(setpoint));
        let output = value(self.at.output)?;
        if row.state != "good" {
            self.count(&row.state);
        }
        self.rows += 1;
        let Some(pv) = pv else {
            return Ok(());
        };
        self.time_s.push(row.elapsed_s);
        self.pv.push(pv);
        self.setpoint.push(setpoint.unwrap_or(f64::NAN));
        self.output.push(output.unwrap_or(f64::NAN));
        let status = self
            .at
            .autotune
            .and_then(|point| row.cells.get(point))
            .map(String::as_str);
        self.autotune
            .push(status.is_some_and(|cell| is_active(map, self.at.autotune, cell)));
        Ok(())
    }

    /// One more row that cannot be read.
    fn skip(&mut self) {
        self.rows += 1;
        self.count(UNREADABLE);
    }

    /// One more row of this state.
    fn count(&mut self, state: &str) {
        match self.bad_rows.iter_mut().find(|(known, _)| known == state) {
            Some((_, count)) => *count += 1,
            None => self.bad_rows.push((state.to_owned(), 1)),
        }
    }
}

fn is_active(map: &Map, point: Option<usize>, cell: &str) -> bool {
    let Some(point) = point.and_then(|index| map.trend_points().nth(index)) else {
        return false;
    };
    cell.parse::<Decimal>()
        .is_ok_and(|raw| map.is_active(point, &Reading::Good(Number::Decimal(raw))) == Some(true))
}

fn read_events(path: &Path) -> Result<Vec<RecordedEvent>, ReadError> {
    let event = |(row, record): (u64, csv::StringRecord)| {
        let time_s = elapsed(path, row, &record)?;
        let cell = |index: usize| record.get(index).unwrap_or_default();
        Ok(RecordedEvent {
            time_s,
            what: Happening::from_word(cell(2)),
            text: cell(3).to_owned(),
        })
    };
    whole_rows(path)?.into_iter().map(event).collect()
}

fn read_settings(path: &Path, map: &Map) -> Result<Vec<RecordedSetting>, ReadError> {
    let meaning = |point: &str, value: &str| {
        let point = map.points.iter().find(|it| it.name.as_str() == point)?;
        let number = Number::Decimal(value.parse().ok()?);
        point.in_words(number).map(str::to_owned)
    };
    let setting = |(row, record): (u64, csv::StringRecord)| {
        let time_s = elapsed(path, row, &record)?;
        let cell = |index: usize| record.get(index).unwrap_or_default().to_owned();
        Ok(RecordedSetting {
            time_s,
            cause: cell(2),
            meaning: meaning(&cell(3), &cell(5)),
            point: cell(3),
            role: cell(4),
            value: cell(5),
            unit: cell(6),
        })
    };
    whole_rows(path)?.into_iter().map(setting).collect()
}

fn elapsed(path: &Path, row: u64, record: &csv::StringRecord) -> Result<f64, ReadError> {
    let cell = record.get(1).unwrap_or_default();
    let bad = || {
        ReadError::of_row(
            path,
            row,
            format!("elapsed_s {cell:?} is no number"),
            "the file was altered or damaged",
        )
    };
    cell.parse().map_err(|_| bad())
}

fn wall_time(text: &str) -> Option<DateTime<Utc>> {
    DateTime::parse_from_rfc3339(text)
        .ok()
        .map(|time| time.to_utc())
}
