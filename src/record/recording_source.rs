//! Opens a recording, or one loop of it.

use std::fs;
use std::path::{Path, PathBuf};
use std::sync::Arc;

use chrono::{DateTime, Utc};
use csv::StringRecord;

use super::csv_file::{CsvFile, RESTORE, Writer};
use super::day_file::Shape;
use super::facts::{FactsFile, SCHEMA};
use super::layout::{self, EVENTS_FILE, EVENTS_HEADER, FACTS_FILE, SETTINGS_FILE, SETTINGS_HEADER};
use super::open_source::{Files, OpenLoop, OpenSource, Rows};
use super::read_error::{ReadError, shown};
use super::rows::whole_rows;
use super::source::{RecordedEvent, RecordedSetting, RecordingFacts};
use super::wall::WallClock;
use crate::map::{Map, Role};
use crate::number::Number;
use crate::sample::Happening;
use crate::setup::{LoopSetup, Setup};

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

/// Opens a recording, or the loop whose folder `path` is, for [`OpenSource::read`] and the like.
///
/// # Errors
/// As [`open`], and a damaged header, event or setting, with file and row.
pub(super) fn open_recording(path: &Path, skip_bad: bool) -> Result<OpenSource, ReadError> {
    let (opened, loops) = loops_of(path)?;
    let mut notes = Vec::new();
    let open = |the_loop: &LoopSetup| {
        let folder = opened.folder.join(the_loop.name.as_str());
        open_loop(&folder, the_loop, opened.facts.began, skip_bad, &mut notes)
    };
    let loops = loops.iter().map(open).collect::<Result<Vec<_>, _>>()?;
    let name = path
        .file_name()
        .map_or_else(String::new, |name| name.to_string_lossy().into_owned());
    Ok(OpenSource {
        name,
        facts: Some(opened.facts),
        loops,
        notes,
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
    layout::day_files(folder).map_err(|error| unreadable(folder, &error))
}

pub(super) fn unreadable(folder: &Path, error: &std::io::Error) -> ReadError {
    let help = "check that the whole recording was copied";
    ReadError::of_file(folder, format!("could not be read: {error}"), help)
}

fn open_loop(
    folder: &Path,
    the_loop: &LoopSetup,
    began: DateTime<Utc>,
    skip_bad: bool,
    notes: &mut Vec<String>,
) -> Result<OpenLoop, ReadError> {
    let files = day_files(folder)?;
    let mut headers = Vec::new();
    let mut first_s = None;
    for path in &files {
        let mut file = CsvFile::open(path, Writer::Emberline)?;
        headers.push(file.header().to_vec());
        if first_s.is_none() {
            first_s = first_elapsed(&mut file)?;
        }
    }
    let shape = Shape::new(&the_loop.map, headers.iter().map(Vec::as_slice));
    let facts = OpenLoop {
        name: the_loop.name.to_string(),
        controller: Some(the_loop.map.title.clone()),
        unit: shape.unit.as_ref().map(ToString::to_string),
        band: the_loop.band,
        wall: Some(WallClock::of_loop(folder, began, skip_bad)?),
        first_s,
        has_setpoint: shape.has(Role::Setpoint),
        has_output: shape.has(Role::Output),
        has_autotune: shape.has(Role::AutotuneActive),
        events: Vec::new(),
        settings: Vec::new(),
        rows: Rows {
            files: Files::Days(files, Arc::new(shape)),
            skip_bad,
        },
    };
    let event = |cells: &StringRecord, time_s| RecordedEvent {
        time_s,
        what: Happening::from_word(&cells[2]),
        text: cells[3].to_owned(),
    };
    let setting = |cells: &StringRecord, time_s| setting(&the_loop.map, cells, time_s);
    Ok(OpenLoop {
        events: read_slow(
            &folder.join(EVENTS_FILE),
            &EVENTS_HEADER,
            &event,
            skip_bad,
            notes,
        )?,
        settings: read_slow(
            &folder.join(SETTINGS_FILE),
            &SETTINGS_HEADER,
            &setting,
            skip_bad,
            notes,
        )?,
        ..facts
    })
}

/// The elapsed seconds of the first row that can be read.
fn first_elapsed(file: &mut CsvFile) -> Result<Option<f64>, ReadError> {
    while let Some(row) = file.next_row()? {
        let seconds = row.ok().and_then(|row| row.cells.get(1)?.parse().ok());
        if seconds.is_some_and(f64::is_finite) {
            return Ok(seconds);
        }
    }
    Ok(None)
}

/// The rows of a file of events or settings, each with its elapsed seconds; what is left out is noted.
fn read_slow<T>(
    path: &Path,
    header: &[&str],
    make: &dyn Fn(&StringRecord, f64) -> T,
    skip_bad: bool,
    notes: &mut Vec<String>,
) -> Result<Vec<T>, ReadError> {
    let (rows, mut left_out) = whole_rows(path, skip_bad)?;
    let mut made = Vec::with_capacity(rows.len());
    for (number, cells) in rows {
        match elapsed(path, number, &cells, header.len()) {
            Ok(time_s) => made.push(make(&cells, time_s)),
            Err(_) if skip_bad => left_out += 1,
            Err(error) => return Err(error),
        }
    }
    if left_out > 0 {
        let file = path.display();
        notes.push(format!(
            "{file}: damaged rows that are left out: {left_out}"
        ));
    }
    Ok(made)
}

fn setting(map: &Map, cells: &StringRecord, time_s: f64) -> RecordedSetting {
    let meaning = |point: &str, value: &str| {
        let point = map.points.iter().find(|it| it.name.as_str() == point)?;
        let number = Number::Decimal(value.parse().ok()?);
        point.in_words(number).map(str::to_owned)
    };
    RecordedSetting {
        time_s,
        cause: cells[2].to_owned(),
        meaning: meaning(&cells[3], &cells[5]),
        point: cells[3].to_owned(),
        role: cells[4].to_owned(),
        value: cells[5].to_owned(),
        unit: cells[6].to_owned(),
    }
}

fn elapsed(path: &Path, row: u64, cells: &StringRecord, width: usize) -> Result<f64, ReadError> {
    let bad = |what: String| ReadError::of_row(path, row, what, RESTORE);
    if cells.len() != width {
        return Err(bad(format!(
            "{} cells where there should be {width}",
            cells.len()
        )));
    }
    let seconds = cells[1].parse().ok().filter(|it: &f64| it.is_finite());
    seconds.ok_or_else(|| bad(format!("elapsed_s {:?} is no number", shown(&cells[1]))))
}

fn wall_time(text: &str) -> Option<DateTime<Utc>> {
    DateTime::parse_from_rfc3339(text)
        .ok()
        .map(|time| time.to_utc())
}
