//! Follows a recording that somebody else is writing, from the files alone and without locks.

use std::collections::HashMap;
use std::fs::File;
use std::io::{self, Read, Seek, SeekFrom};
use std::path::{Path, PathBuf};
use std::sync::Arc;
use std::time::Duration;

use csv::StringRecord;
use rust_decimal::Decimal;

use super::layout::{EVENTS_FILE, SETTINGS_FILE, units_of_header};
use super::read_error::ReadError;
use super::recording_source::{Opened, day_files, open};
use super::rows::Row;
use crate::clock::Stamp;
use crate::map::{Image, Map, Refresh};
use crate::name::Name;
use crate::number::Number;
use crate::sample::{
    Entry, Event, Happening, Reading, Sample, Settings, SettingsCause, State, Units, Why,
};
use crate::setup::Setup;

/// A reader that gives what has been added since it was last asked.
#[derive(Debug)]
pub struct Follower {
    opened: Opened,
    /// How far each file has been read, in bytes.
    read: HashMap<PathBuf, u64>,
    /// The units that the header of each file of samples tells.
    units: HashMap<PathBuf, Units>,
}

impl Follower {
    /// Begins at the recording's first row.
    ///
    /// # Errors
    /// The folder is no recording.
    pub fn open(folder: &Path) -> Result<Self, ReadError> {
        Ok(Self {
            opened: open(folder)?,
            read: HashMap::new(),
            units: HashMap::new(),
        })
    }

    /// The setup the recording is made with.
    pub fn setup(&self) -> &Setup {
        &self.opened.setup
    }

    /// What the recording said about itself when it was last looked at.
    pub fn opened(&self) -> &Opened {
        &self.opened
    }

    /// Looks again whether the recording has ended in order.
    ///
    /// # Errors
    /// The recording has become unreadable.
    pub fn has_ended(&mut self) -> Result<bool, ReadError> {
        self.opened = open(&self.opened.folder)?;
        Ok(self.opened.facts.ended.is_some())
    }

    /// Everything added since the last call, in the order of time.
    ///
    /// # Errors
    /// A file has become unreadable, or a row is damaged; with file and row.
    pub fn news(&mut self) -> Result<Vec<Entry>, ReadError> {
        let mut entries = Vec::new();
        for the_loop in self.opened.setup.loops.clone() {
            let folder = self.opened.folder.join(the_loop.name.as_str());
            for path in day_files(&folder)? {
                let (header, rows) = self.new_rows(&path)?;
                if let Some(header) = header {
                    let units = units_of_header(&the_loop.map, header.iter());
                    self.units.insert(path.clone(), units);
                }
                let unknown = || the_loop.map.units(Refresh::Trend, &Image::default());
                let units = self.units.entry(path.clone()).or_insert_with(unknown);
                for row in rows {
                    let sample = sample(&path, &row, &the_loop.name, units)?;
                    entries.push(Entry::Sample(sample));
                }
            }
            for (_, record) in self.new_rows(&folder.join(SETTINGS_FILE))?.1 {
                add_setting(&mut entries, &record, &the_loop.name, &the_loop.map);
            }
            for (_, record) in self.new_rows(&folder.join(EVENTS_FILE))?.1 {
                entries.extend(event(&record, &the_loop.name).map(Entry::Event));
            }
        }
        entries.sort_by_key(|entry| entry.stamp().elapsed);
        Ok(entries)
    }

    /// The whole rows behind what was read before; the header beside them, when it is read.
    fn new_rows(
        &mut self,
        path: &Path,
    ) -> Result<(Option<StringRecord>, Vec<Numbered>), ReadError> {
        let from = self.read.get(path).copied().unwrap_or(0);
        let added = read_from(path, from).map_err(|error| {
            ReadError::of_file(
                path,
                format!("could not be read: {error}"),
                "is the recording still there?",
            )
        })?;
        let whole = added
            .iter()
            .rposition(|byte| *byte == b'\n')
            .map_or(0, |end| end + 1);
        self.read.insert(path.to_owned(), from + whole as u64);
        let mut rows = csv::ReaderBuilder::new()
            .flexible(true)
            .has_headers(from == 0)
            .from_reader(&added[..whole]);
        let row = |(number, record): (usize, Result<StringRecord, csv::Error>)| {
            let number = number as u64 + 1;
            record.map(|record| (number, record)).map_err(|error| {
                ReadError::of_row(
                    path,
                    number,
                    error.to_string(),
                    "the file was altered or damaged",
                )
            })
        };
        let header = rows
            .headers()
            .ok()
            .filter(|header| from == 0 && !header.is_empty());
        let header = header.cloned();
        let rows = rows
            .records()
            .enumerate()
            .map(row)
            .collect::<Result<_, _>>()?;
        Ok((header, rows))
    }
}

/// A row and its number.
type Numbered = (u64, StringRecord);

fn read_from(path: &Path, from: u64) -> io::Result<Vec<u8>> {
    let mut file = File::open(path)?;
    file.seek(SeekFrom::Start(from))?;
    let mut added = Vec::new();
    file.read_to_end(&mut added)?;
    Ok(added)
}

fn sample(
    path: &Path,
    (number, record): &Numbered,
    of: &Name,
    units: &Units,
) -> Result<Sample, ReadError> {
    let row = Row::parse(path, *number, record, units.len())?;
    let state = State::from_word(&row.state).unwrap_or(State::Partial);
    let why = match state {
        State::Absent(why) => why,
        // The file does not keep why one point of a poll is missing.
        State::Good | State::Partial | State::Faulty => Why::NoAnswer,
    };
    let readings: Arc<[Reading]> = row.cells.iter().map(|cell| reading(cell, why)).collect();
    let elapsed = Duration::from_secs_f64(row.elapsed_s.max(0.0));
    Ok(Sample {
        of: of.clone(),
        stamp: Stamp {
            elapsed,
            time: row.time,
        },
        state,
        readings,
        units: units.clone(),
    })
}

fn reading(cell: &str, why: Why) -> Reading {
    let decimal = cell.parse::<Decimal>().map(Number::Decimal).ok();
    let number = decimal.or_else(|| cell.parse().ok().map(Number::Double));
    number.map_or(Reading::Absent(why), Reading::Good)
}

/// Puts one row of `settings.csv` into the reading it belongs to: the rows of one reading follow each
/// other with one stamp.
fn add_setting(entries: &mut Vec<Entry>, record: &StringRecord, of: &Name, map: &Map) {
    let Some((stamp, [cause, point, _, value, unit])) = stamp(record).zip(cells(record, 2)) else {
        return;
    };
    let Some(index) = map
        .settings_points()
        .position(|it| it.name.as_str() == point)
    else {
        return;
    };
    let cause = SettingsCause::from_word(cause).unwrap_or(SettingsCause::Changed);
    let reading = reading(value, Why::NoAnswer);
    let unit = (!unit.is_empty()).then(|| Arc::from(unit));
    let same = |entry: &Entry| matches!(entry, Entry::Settings(it) if it.stamp == stamp && it.of == *of && it.cause == cause);
    if let Some(Entry::Settings(settings)) = entries.iter_mut().rfind(|entry| same(entry)) {
        let mut readings = settings.readings.to_vec();
        readings[index] = reading;
        settings.readings = readings.into();
        let mut units = settings.units.to_vec();
        units[index] = unit;
        settings.units = units.into();
        return;
    }
    let mut readings = vec![Reading::Absent(Why::NoAnswer); map.settings_points().count()];
    readings[index] = reading;
    let mut units = map.units(Refresh::Settings, &Image::default()).to_vec();
    units[index] = unit;
    entries.push(Entry::Settings(Settings {
        of: of.clone(),
        stamp,
        cause,
        readings: readings.into(),
        units: units.into(),
    }));
}

fn event(record: &StringRecord, of: &Name) -> Option<Event> {
    let [what, text] = cells(record, 2)?;
    let what = Happening::from_word(what)?;
    Some(Event {
        of: Some(of.clone()),
        stamp: stamp(record)?,
        what,
        text: text.to_owned(),
    })
}

fn cells<const N: usize>(record: &StringRecord, from: usize) -> Option<[&str; N]> {
    let cells: Vec<&str> = record.iter().skip(from).take(N).collect();
    cells.try_into().ok()
}

fn stamp(record: &StringRecord) -> Option<Stamp> {
    let [time, elapsed] = cells(record, 0)?;
    let time = chrono::DateTime::parse_from_rfc3339(time).ok()?.to_utc();
    let elapsed: f64 = elapsed
        .parse()
        .ok()
        .filter(|seconds: &f64| *seconds >= 0.0)?;
    Some(Stamp {
        elapsed: Duration::try_from_secs_f64(elapsed).ok()?,
        time,
    })
}
