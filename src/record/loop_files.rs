//! The files of one loop: samples by day, events, settings.

use std::collections::HashMap;
use std::io;
use std::path::{Path, PathBuf};
use std::sync::Arc;
use std::time::Duration;

use chrono::NaiveDate;

use super::disk::{Disk, Syncing, Tail};
use super::layout::{
    EVENTS_FILE, EVENTS_HEADER, SETTINGS_FILE, SETTINGS_HEADER, day_file, sample_header,
    sample_row, stamp_cells, unit_cell,
};
use super::mend::Mended;
use crate::clock::{Clock, Stamp};
use crate::map::Map;
use crate::name::Name;
use crate::sample::{Event, Reading, Sample, Settings, SettingsCause, State, Why};
use crate::setup::LoopSetup;

/// A row on its way to its file.
#[derive(Debug)]
pub(super) struct Row {
    pub(super) of: Name,
    file: Place,
    line: Box<[u8]>,
}

/// The file of a loop that gets a row.
#[derive(Clone, Copy, Debug)]
enum Place {
    Day(NaiveDate),
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
    table: Table,
}

impl ClosedDay {
    /// What brings it to the medium.
    pub(super) fn syncing(&self) -> Syncing {
        self.table.syncing()
    }
}

/// The open files of one loop.
#[derive(Debug)]
pub(super) struct LoopFiles {
    of: Name,
    every: Duration,
    folder: PathBuf,
    map: Arc<Map>,
    day: Option<(NaiveDate, Table)>,
    closed: Vec<ClosedDay>,
    events: Table,
    settings: Table,
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
        let events = Table::open(&folder.join(EVENTS_FILE), EVENTS_HEADER, disk)?;
        let settings = Table::open(&folder.join(SETTINGS_FILE), SETTINGS_HEADER, disk)?;
        let day = match mended.last_day {
            Some(day) => {
                let path = folder.join(day_file(day));
                Some((day, Table::open(&path, sample_header(&map), disk)?))
            }
            None => None,
        };
        Ok(Self {
            of: the_loop.name.clone(),
            every: the_loop.every,
            folder: folder.to_owned(),
            map,
            day,
            closed: Vec::new(),
            events,
            settings,
            last_settings: mended.last_settings.clone(),
            rows: mended.rows,
            gap: 0,
            last: Stamp::default(),
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
        let day = Place::Day(sample.stamp.time.date_naive());
        let row = Row::new(&self.of, day, sample_row(sample))?;
        self.rows += 1;
        self.last = sample.stamp;
        Ok(row)
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
        for (point, reading) in self.map.settings_points().zip(settings.readings.iter()) {
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
                unit_cell(point),
            ];
            rows.push(Row::new(&self.of, Place::Settings, cells)?);
        }
        Ok(rows)
    }

    /// Writes a row and flushes it to the system. After an error nothing of it is there.
    pub(super) fn put(&mut self, row: &Row, disk: &dyn Disk) -> io::Result<()> {
        let table = match row.file {
            Place::Day(day) => self.table_of(day, disk)?,
            Place::Events => &mut self.events,
            Place::Settings => &mut self.settings,
        };
        table.write(&row.line)
    }

    /// Every sample goes into the file of its own UTC day.
    fn table_of(&mut self, day: NaiveDate, disk: &dyn Disk) -> io::Result<&mut Table> {
        let open = match self.day.take() {
            // A clock that was set back writes on into the later day.
            Some((open, table)) if open >= day => (open, table),
            before => {
                let path = self.folder.join(day_file(day));
                let opened = Table::open(&path, sample_header(&self.map), disk);
                let (full, opened) = match opened {
                    Ok(table) => (before, table),
                    Err(error) => {
                        self.day = before;
                        return Err(error);
                    }
                };
                self.closed.extend(full.map(|(day, table)| ClosedDay {
                    path: self.folder.join(day_file(day)),
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
        };
        let day = Place::Day(sample.stamp.time.date_naive());
        let row = Row::new(&self.of, day, sample_row(&sample))?;
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

    /// What brings everything that was written to the medium.
    pub(super) fn syncing(&self) -> impl Iterator<Item = Syncing> {
        let day = self.day.iter().map(|(_, table)| table);
        day.chain([&self.events, &self.settings])
            .map(Table::syncing)
    }
}

/// One CSV file that grows: RFC 4180, but with LF line ends.
#[derive(Debug)]
struct Table {
    tail: Box<dyn Tail>,
}

impl Table {
    /// At the end of what is there; an empty file begins with its header.
    fn open<T: AsRef<[u8]>>(
        path: &Path,
        header: impl IntoIterator<Item = T>,
        disk: &dyn Disk,
    ) -> io::Result<Self> {
        let tail = disk.append(path)?;
        let is_new = tail.length() == 0;
        let mut table = Self { tail };
        if is_new {
            table.write(&line(header)?)?;
        }
        Ok(table)
    }

    /// One row in one write, so that a reader beside us sees it whole.
    fn write(&mut self, line: &[u8]) -> io::Result<()> {
        self.tail.write(line)
    }

    fn syncing(&self) -> Syncing {
        self.tail.syncing()
    }
}

fn line<T: AsRef<[u8]>>(cells: impl IntoIterator<Item = T>) -> io::Result<Vec<u8>> {
    let mut line = csv::Writer::from_writer(Vec::new());
    line.write_record(cells)?;
    line.into_inner().map_err(csv::IntoInnerError::into_error)
}
