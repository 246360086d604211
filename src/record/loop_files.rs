//! The files of one loop: samples by day, events, settings.

use std::collections::HashMap;
use std::fs::{self, File, OpenOptions};
use std::io;
use std::path::{Path, PathBuf};
use std::sync::Arc;

use chrono::NaiveDate;

use super::layout::{
    EVENTS_FILE, EVENTS_HEADER, SETTINGS_FILE, SETTINGS_HEADER, day_file, sample_header,
    sample_row, stamp_cells, unit_cell,
};
use crate::map::Map;
use crate::name::Name;
use crate::sample::{Event, Sample, Settings, SettingsCause};

/// The open files of one loop.
#[derive(Debug)]
pub(super) struct LoopFiles {
    folder: PathBuf,
    map: Arc<Map>,
    day: Option<(NaiveDate, Table)>,
    events: Table,
    settings: Table,
    last_settings: HashMap<Name, String>,
}

impl LoopFiles {
    pub(super) fn create(folder: &Path, map: Arc<Map>) -> io::Result<Self> {
        fs::create_dir(folder)?;
        Ok(Self {
            events: Table::create(&folder.join(EVENTS_FILE), EVENTS_HEADER)?,
            settings: Table::create(&folder.join(SETTINGS_FILE), SETTINGS_HEADER)?,
            folder: folder.to_owned(),
            map,
            day: None,
            last_settings: HashMap::new(),
        })
    }

    /// Every sample goes into the file of its own UTC day.
    pub(super) fn write_sample(&mut self, sample: &Sample) -> io::Result<()> {
        let day = sample.stamp.time.date_naive();
        if self.day.as_ref().is_none_or(|(open, _)| *open != day) {
            self.sync()?;
            let table = Table::create(&self.folder.join(day_file(day)), sample_header(&self.map))?;
            self.day = Some((day, table));
        }
        match &mut self.day {
            Some((_, table)) => table.write(sample_row(sample)),
            None => Ok(()),
        }
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
            let last = self.last_settings.insert(point.name.clone(), value.clone());
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

    /// Makes sure that what was written is on the disk.
    pub(super) fn sync(&mut self) -> io::Result<()> {
        let day = self.day.iter().map(|(_, table)| table);
        day.chain([&self.events, &self.settings])
            .try_for_each(|table| table.rows.get_ref().sync_all())
    }
}

/// One CSV file that grows: RFC 4180, but with LF line ends.
#[derive(Debug)]
struct Table {
    rows: csv::Writer<File>,
}

impl Table {
    fn create<T: AsRef<[u8]>>(
        path: &Path,
        header: impl IntoIterator<Item = T>,
    ) -> io::Result<Self> {
        let file = OpenOptions::new()
            .append(true)
            .create_new(true)
            .open(path)?;
        let mut table = Self {
            rows: csv::Writer::from_writer(file),
        };
        table.write(header)?;
        Ok(table)
    }

    /// One row in one write, so that a reader beside us sees it whole.
    fn write<T: AsRef<[u8]>>(&mut self, row: impl IntoIterator<Item = T>) -> io::Result<()> {
        self.rows.write_record(row)?;
        self.rows.flush()
    }
}
