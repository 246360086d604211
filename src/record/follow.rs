//! Follows a recording that somebody else is writing, from the files alone and without locks.

mod stream;
mod tail;

use std::cmp::Reverse;
use std::collections::BinaryHeap;
use std::path::Path;
use std::sync::Arc;
use std::time::Duration;

use csv::StringRecord;
use rust_decimal::Decimal;

use super::layout::{EVENTS_FILE, SETTINGS_FILE};
use super::mend::last_stamp;
use super::read_error::ReadError;
use super::recording_source::{Opened, day_files, open, unreadable};
use super::rows::Row;
use crate::clock::Stamp;
use crate::map::{Image, Map, Refresh};
use crate::name::Name;
use crate::number::Number;
use crate::sample::{
    Entry, Event, Happening, Reading, Sample, Settings, SettingsCause, State, Units, Why,
};
use crate::setup::{LoopSetup, Setup};
use stream::{Kind, Stream};
use tail::Numbered;

/// A reader that gives what has been added since it was last asked, in pieces of a bounded size.
#[derive(Debug)]
pub struct Follower {
    opened: Opened,
    streams: Vec<Stream>,
}

/// So many entries are given at once.
const AT_ONCE: usize = 4096;

impl Follower {
    /// Begins at the recording's first row.
    ///
    /// # Errors
    /// The folder is no recording.
    pub fn open(folder: &Path) -> Result<Self, ReadError> {
        let opened = open(folder)?;
        let streams = |the_loop: &LoopSetup| {
            let folder = opened.folder.join(the_loop.name.as_str());
            let kinds = [Kind::samples(the_loop), Kind::Settings, Kind::Events];
            kinds.map(|kind| Stream::new(&folder, the_loop, kind))
        };
        Ok(Self {
            streams: opened.setup.loops.iter().flat_map(streams).collect(),
            opened,
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

    /// The latest moment in it; its beginning, while there is no row.
    ///
    /// # Errors
    /// A file has become unreadable.
    pub fn last(&self) -> Result<Stamp, ReadError> {
        let mut last = Stamp {
            elapsed: Duration::ZERO,
            time: self.opened.facts.began,
        };
        for the_loop in &self.opened.setup.loops {
            let folder = self.opened.folder.join(the_loop.name.as_str());
            let paths = day_files(&folder)?.pop().into_iter();
            for path in paths.chain([EVENTS_FILE, SETTINGS_FILE].map(|name| folder.join(name))) {
                let found = last_stamp(&path).map_err(|error| unreadable(&path, &error))?;
                last = last.max(found.unwrap_or(last));
            }
        }
        Ok(last)
    }

    /// Looks again whether the recording has ended in order.
    ///
    /// # Errors
    /// The recording has become unreadable.
    pub fn has_ended(&mut self) -> Result<bool, ReadError> {
        self.opened = open(&self.opened.folder)?;
        Ok(self.opened.facts.ended.is_some())
    }

    /// What was added, in the order of time, and not more than fits into memory at once; nothing when
    /// all that is there was given.
    ///
    /// # Errors
    /// A file has become unreadable, or a row is damaged; with file and row.
    pub fn news(&mut self) -> Result<Vec<Entry>, ReadError> {
        let mut first = BinaryHeap::new();
        for (index, stream) in self.streams.iter_mut().enumerate() {
            first.extend(stream.first()?.map(|at| Reverse((at, index))));
        }
        let mut entries = Vec::new();
        while let Some(Reverse((_, index))) = first.pop() {
            let stream = &mut self.streams[index];
            entries.extend(stream.take());
            if entries.len() == AT_ONCE {
                break;
            }
            first.extend(stream.first()?.map(|at| Reverse((at, index))));
        }
        Ok(entries)
    }
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
