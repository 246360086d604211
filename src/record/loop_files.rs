//! The files of one loop: samples by day, events, settings.

use std::collections::HashMap;
use std::io;
use std::path::{Path, PathBuf};
use std::sync::Arc;

use chrono::NaiveDate;

use super::disk::{Disk, Syncing, Tail};
use super::layout::{
    EVENTS_FILE, EVENTS_HEADER, SETTINGS_FILE, SETTINGS_HEADER, day_file, sample_header,
    sample_row, stamp_cells, unit_cell,
};
use super::mend::Mended;
use crate::map::Map;
use crate::sample::{Event, Sample, Settings, SettingsCause};

/// The open files of one loop.
#[derive(Debug)]
pub(super) struct LoopFiles {
    folder: PathBuf,
    map: Arc<Map>,
    day: Option<(NaiveDate, Table)>,
    events: Table,
    settings: Table,
    last_settings: HashMap<String, String>,
    /// Rows in all day files together: the number of the next scheduled poll.
    rows: u32,
}

impl LoopFiles {
    /// Goes on from what is in the loop's folder: nothing, in a new recording.
    pub(super) fn open(
        folder: &Path,
        map: Arc<Map>,
        mended: &Mended,
        disk: &dyn Disk,
    ) -> io::Result<Self> {
        if !folder.is_dir() {
            disk.make_folder(folder)?;
        }
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
            folder: folder.to_owned(),
            map,
            day,
            events,
            settings,
            last_settings: mended.last_settings.clone(),
            rows: mended.rows,
        })
    }

    /// The number of the next scheduled poll.
    pub(super) fn rows(&self) -> u32 {
        self.rows
    }

    /// Every sample goes into the file of its own UTC day. Gives the file that is closed by that.
    pub(super) fn write_sample(
        &mut self,
        sample: &Sample,
        disk: &dyn Disk,
    ) -> io::Result<Option<PathBuf>> {
        let day = sample.stamp.time.date_naive();
        let mut closed = None;
        // A clock that was set back writes on into the later day.
        if self.day.as_ref().is_none_or(|(open, _)| *open < day) {
            let path = self.folder.join(day_file(day));
            let table = Table::open(&path, sample_header(&self.map), disk)?;
            if let Some((before, full)) = self.day.replace((day, table)) {
                full.syncing()()?;
                closed = Some(self.folder.join(day_file(before)));
            }
        }
        if let Some((_, table)) = &mut self.day {
            table.write(sample_row(sample))?;
            self.rows += 1;
        }
        Ok(closed)
    }

    pub(super) fn write_event(&mut self, event: &Event) -> io::Result<()> {
        let [time, elapsed] = stamp_cells(event.stamp);
        self.events
            .write([time.as_str(), &elapsed, event.what.word(), &event.text])
    }

    /// Every slow point; of a change only those that moved since they were last written.
    pub(super) fn write_settings(&mut self, settings: &Settings) -> io::Result<()> {
        let [time, elapsed] = stamp_cells(settings.stamp);
        let cause = settings.cause.word();
        let only_moved = settings.cause == SettingsCause::Changed;
        for (point, reading) in self.map.settings_points().zip(settings.readings.iter()) {
            let value = reading.to_string();
            let last = self
                .last_settings
                .insert(point.name.to_string(), value.clone());
            if only_moved && last.as_ref() == Some(&value) {
                continue;
            }
            let (name, role) = (point.name.as_str(), point.role.word());
            let row = [
                time.as_str(),
                &elapsed,
                cause,
                name,
                role,
                &value,
                unit_cell(point),
            ];
            self.settings.write(row)?;
        }
        Ok(())
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
            table.write(header)?;
        }
        Ok(table)
    }

    /// One row in one write, so that a reader beside us sees it whole.
    fn write<T: AsRef<[u8]>>(&mut self, row: impl IntoIterator<Item = T>) -> io::Result<()> {
        let mut line = csv::Writer::from_writer(Vec::new());
        line.write_record(row)?;
        let line = line.into_inner().map_err(csv::IntoInnerError::into_error)?;
        self.tail.write(&line)
    }

    fn syncing(&self) -> Syncing {
        self.tail.syncing()
    }
}
