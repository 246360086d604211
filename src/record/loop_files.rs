//! The files of one loop: samples by day, events, settings.

use std::collections::{BTreeMap, HashMap};
use std::io;
use std::path::{Path, PathBuf};
use std::sync::Arc;
use std::time::Duration;

use chrono::NaiveDate;

use super::disk::Disk;
use super::growing::Growing;
use super::layout::{
    DayPart, EVENTS_FILE, EVENTS_HEADER, SETTINGS_FILE, SETTINGS_HEADER, sample_header, sample_row,
    stamp_cells, units_of_header,
};
use super::mend::Mended;
use crate::clock::{Clock, Stamp};
use crate::map::{Image, Map, Refresh};
use crate::name::Name;
use crate::sample::{
    Event, Reading, Sample, Settings, SettingsCause, State, Units, Why, with_news,
};
use crate::setup::LoopSetup;

/// A row on its way to its file.
#[derive(Debug)]
pub(super) struct Row {
    pub(super) of: Name,
    file: Place,
    line: Box<[u8]>,
}

/// The file of a loop that gets a row.
#[derive(Clone, Debug)]
enum Place {
    /// A file of samples, and the units its header tells.
    Day(DayPart, Units),
    Events,
    Settings,
}

impl Row {
    fn new<T: AsRef<[u8]>>(
        of: &Name,
        file: Place,
        cells: impl IntoIterator<Item = T>,
    ) -> io::Result<Self> {
        Ok(Self {
            of: of.clone(),
            file,
            line: line(cells)?.into(),
        })
    }

    /// Its bytes.
    pub(super) fn length(&self) -> usize {
        self.line.len()
    }
}

/// A day's file that gets no more rows.
#[derive(Debug)]
pub(super) struct ClosedDay {
    pub(super) path: PathBuf,
    pub(super) table: Growing,
}

/// The open files of one loop.
#[derive(Debug)]
pub(super) struct LoopFiles {
    of: Name,
    every: Duration,
    folder: PathBuf,
    map: Arc<Map>,
    day: Option<(DayPart, Growing)>,
    /// The latest part of every day that has a file.
    parts: BTreeMap<NaiveDate, DayPart>,
    /// Where the rows made last belong.
    making: Option<(DayPart, Units)>,
    closed: Vec<ClosedDay>,
    events: Growing,
    settings: Growing,
    last_settings: HashMap<String, String>,
    /// Polls that have a row, be it one that is still on its way: the number of the next poll.
    rows: u32,
    /// Polls behind them whose rows have no values, and are still to be written.
    gap: u32,
    last: Stamp,
}

impl LoopFiles {
    /// Goes on from what is in the loop's folder: nothing, in a new recording.
    pub(super) fn open(
        folder: &Path,
        the_loop: &LoopSetup,
        mended: &Mended,
        disk: &dyn Disk,
    ) -> io::Result<Self> {
        if !folder.is_dir() {
            disk.make_folder(folder)?;
        }
        let map = the_loop.map.clone();
        let events = table(&folder.join(EVENTS_FILE), EVENTS_HEADER, disk)?;
        let settings = table(&folder.join(SETTINGS_FILE), SETTINGS_HEADER, disk)?;
        let known = units_of_header(&map, mended.last_header.iter().map(String::as_str));
        let (day, making) = match mended.last_day {
            Some(day) => {
                let path = folder.join(day.file_name());
                let table = table(&path, sample_header(&map, &known), disk)?;
                (Some((day, table)), Some((day, known)))
            }
            None => (None, None),
        };
        let mut parts = mended.days.clone();
        // Of one day the last stays.
        parts.sort();
        Ok(Self {
            parts: parts.into_iter().map(|part| (part.day, part)).collect(),
            of: the_loop.name.clone(),
            every: the_loop.every,
            folder: folder.to_owned(),
            map,
            day,
            making,
            closed: Vec::new(),
            events,
            settings,
            last_settings: mended.last_settings.clone(),
            rows: mended.rows,
            gap: 0,
            last: mended.last_row,
        })
    }

    /// Polls that have no row yet, up to the poll of this number.
    pub(super) fn leave_gap_to(&mut self, number: u32) {
        self.gap = number.saturating_sub(self.rows);
    }

    /// One more poll gets a row without values.
    pub(super) fn widen_gap(&mut self) {
        self.gap += 1;
    }

    /// Polls whose rows without values are still to be written.
    pub(super) fn gap(&self) -> u32 {
        self.gap
    }

    /// The row of a poll.
    pub(super) fn row_of_sample(&mut self, sample: &Sample) -> io::Result<Row> {
        let place = self.place_of(sample);
        let row = Row::new(&self.of, place, sample_row(sample))?;
        self.rows += 1;
        self.last = sample.stamp;
        Ok(row)
    }

    /// The file of a sample's own UTC day; another one from where a point's unit is another, or the
    /// clock was set to another day, even one that has a file: rows of a file are in order.
    fn place_of(&mut self, sample: &Sample) -> Place {
        let day = sample.stamp.time.date_naive();
        let (part, units) = match self.making.take() {
            None => (self.new_part(day), sample.units.clone()),
            Some((open, known)) => {
                let units = with_news(&known, &sample.units);
                let is_same = day == open.day && units == known;
                let part = if is_same { open } else { self.new_part(day) };
                (part, units)
            }
        };
        self.making = Some((part, units.clone()));
        Place::Day(part, units)
    }

    fn new_part(&mut self, day: NaiveDate) -> DayPart {
        let part = self.parts.get(&day).map(|it| it.next());
        let part = part.unwrap_or(DayPart::first(day));
        self.parts.insert(day, part);
        part
    }

    pub(super) fn row_of_event(&self, event: &Event) -> io::Result<Row> {
        let [time, elapsed] = stamp_cells(event.stamp);
        let cells = [time.as_str(), &elapsed, event.what.word(), &event.text];
        Row::new(&self.of, Place::Events, cells)
    }

    /// Every slow point; of a change only those that moved since they were last written.
    pub(super) fn rows_of_settings(&mut self, settings: &Settings) -> io::Result<Vec<Row>> {
        let [time, elapsed] = stamp_cells(settings.stamp);
        let cause = settings.cause.word();
        let only_moved = settings.cause == SettingsCause::Changed;
        let mut rows = Vec::new();
        let readings = settings.readings.iter().zip(settings.units.iter());
        for (point, (reading, unit)) in self.map.settings_points().zip(readings) {
            let value = reading.to_string();
            let last = self
                .last_settings
                .insert(point.name.to_string(), value.clone());
            if only_moved && last.as_ref() == Some(&value) {
                continue;
            }
            let (name, role) = (point.name.as_str(), point.role.word());
            let cells = [
                time.as_str(),
                &elapsed,
                cause,
                name,
                role,
                &value,
                unit.as_deref().unwrap_or_default(),
            ];
            rows.push(Row::new(&self.of, Place::Settings, cells)?);
        }
        Ok(rows)
    }

    /// Writes a row and flushes it to the system. After an error nothing of it is there.
    pub(super) fn put(&mut self, row: &Row, disk: &dyn Disk) -> io::Result<()> {
        let table = match &row.file {
            Place::Day(part, units) => self.table_of(*part, units, disk)?,
            Place::Events => &mut self.events,
            Place::Settings => &mut self.settings,
        };
        // One row in one write, so that a reader beside us sees it whole.
        table.write(&row.line)
    }

    /// The table of a file of samples; the one before is closed.
    fn table_of(
        &mut self,
        day: DayPart,
        units: &Units,
        disk: &dyn Disk,
    ) -> io::Result<&mut Growing> {
        let open = match self.day.take() {
            Some((open, table)) if open == day => (open, table),
            before => {
                let path = self.folder.join(day.file_name());
                let opened = table(&path, sample_header(&self.map, units), disk);
                let (full, opened) = match opened {
                    Ok(table) => (before, table),
                    Err(error) => {
                        self.day = before;
                        return Err(error);
                    }
                };
                self.closed.extend(full.map(|(day, table)| ClosedDay {
                    path: self.folder.join(day.file_name()),
                    table,
                }));
                (day, opened)
            }
        };
        Ok(&mut self.day.insert(open).1)
    }

    /// Writes the first row of the gap; gives its length.
    pub(super) fn put_gap_row(&mut self, clock: &Clock, disk: &dyn Disk) -> io::Result<usize> {
        let why = Why::NotRunning;
        let readings = self.map.trend_points().map(|_| Reading::Absent(why));
        let sample = Sample {
            of: self.of.clone(),
            // The row before may have come later than this one was due.
            stamp: clock.at(self.every * self.rows).max(self.last),
            state: State::Absent(why),
            readings: readings.collect(),
            units: self.map.units(Refresh::Trend, &Image::default()),
        };
        let place = self.place_of(&sample);
        let row = Row::new(&self.of, place, sample_row(&sample))?;
        self.put(&row, disk)?;
        self.rows += 1;
        self.gap -= 1;
        self.last = sample.stamp;
        Ok(row.length())
    }

    /// The days that were closed since this was last asked.
    pub(super) fn take_closed(&mut self) -> impl Iterator<Item = ClosedDay> {
        self.closed.drain(..)
    }

    /// Every file that is open.
    pub(super) fn files(&mut self) -> impl Iterator<Item = &mut Growing> {
        let day = self.day.iter_mut().map(|(_, table)| table);
        day.chain([&mut self.events, &mut self.settings])
    }
}

/// A CSV file that grows, RFC 4180 but with LF line ends: at the end of what is there; an empty one
/// begins with its header.
fn table<T: AsRef<[u8]>>(
    path: &Path,
    header: impl IntoIterator<Item = T>,
    disk: &dyn Disk,
) -> io::Result<Growing> {
    let mut table = Growing::open(path, disk)?;
    if table.is_empty() {
        table.write(&line(header)?)?;
    }
    Ok(table)
}

fn line<T: AsRef<[u8]>>(cells: impl IntoIterator<Item = T>) -> io::Result<Vec<u8>> {
    let mut line = csv::Writer::from_writer(Vec::new());
    line.write_record(cells)?;
    line.into_inner().map_err(csv::IntoInnerError::into_error)
}
