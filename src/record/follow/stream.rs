//! One kind of entry of one loop, in the order of time, from one growing file or one a day.

use std::collections::VecDeque;
use std::path::{Path, PathBuf};
use std::time::Duration;

use super::tail::{Numbered, Tail};
use super::{add_setting, event, sample};
use crate::map::{Image, Refresh};
use crate::record::layout::{EVENTS_FILE, SETTINGS_FILE, units_of_header};
use crate::record::read_error::ReadError;
use crate::record::recording_source::day_files;
use crate::sample::{Entry, Units};
use crate::setup::LoopSetup;

/// What a stream gives.
#[derive(Debug)]
pub(super) enum Kind {
    /// The units are those that the header of the present file tells.
    Samples(Units),
    Settings,
    Events,
}

/// Entries of one kind.
#[derive(Debug)]
pub(super) struct Stream {
    /// The loop's.
    folder: PathBuf,
    the_loop: LoopSetup,
    kind: Kind,
    file: Option<Tail>,
    ready: VecDeque<Entry>,
    /// Settings that more rows may belong to.
    held: Option<Entry>,
}

impl Kind {
    pub(super) fn samples(the_loop: &LoopSetup) -> Self {
        Self::Samples(the_loop.map.units(Refresh::Trend, &Image::default()))
    }
}

impl Stream {
    pub(super) fn new(folder: &Path, the_loop: &LoopSetup, kind: Kind) -> Self {
        let file = match kind {
            Kind::Samples(_) => None,
            Kind::Settings => Some(Tail::new(folder.join(SETTINGS_FILE))),
            Kind::Events => Some(Tail::new(folder.join(EVENTS_FILE))),
        };
        Self {
            folder: folder.to_owned(),
            the_loop: the_loop.clone(),
            kind,
            file,
            ready: VecDeque::new(),
            held: None,
        }
    }

    /// When its next entry was, if it has one.
    pub(super) fn first(&mut self) -> Result<Option<Duration>, ReadError> {
        if self.ready.is_empty() {
            self.fill()?;
        }
        Ok(self.ready.front().map(|entry| entry.stamp().elapsed))
    }

    pub(super) fn take(&mut self) -> Option<Entry> {
        self.ready.pop_front()
    }

    fn fill(&mut self) -> Result<(), ReadError> {
        while self.ready.is_empty() {
            // Listed first: what stands there when the present file ends was begun after it.
            let next = self.next_file()?;
            let Some(file) = &mut self.file else {
                self.file = next.map(Tail::new);
                match self.file {
                    Some(_) => continue,
                    None => return Ok(()),
                }
            };
            let rows = file.next_rows()?;
            let is_over = file.is_at_end;
            self.take_rows(&rows)?;
            if is_over && self.ready.is_empty() {
                match next {
                    Some(path) => self.file = Some(Tail::new(path)),
                    None => return Ok(()),
                }
            }
        }
        Ok(())
    }

    /// The file behind the present one.
    fn next_file(&self) -> Result<Option<PathBuf>, ReadError> {
        if !matches!(self.kind, Kind::Samples(_)) {
            return Ok(None);
        }
        let mut files = day_files(&self.folder)?.into_iter();
        if let Some(present) = &self.file {
            files.find(|path| *path == present.path);
        }
        Ok(files.next())
    }

    fn take_rows(&mut self, rows: &[Numbered]) -> Result<(), ReadError> {
        let Some(file) = &self.file else {
            return Ok(());
        };
        let (name, map) = (&self.the_loop.name, &self.the_loop.map);
        let mut entries: Vec<Entry> = self.held.take().into_iter().collect();
        for row in rows {
            let (number, record) = row;
            let is_header = *number == 1;
            match &mut self.kind {
                Kind::Samples(units) if is_header => *units = units_of_header(map, record.iter()),
                _ if is_header => {}
                Kind::Samples(units) => {
                    entries.push(Entry::Sample(sample(&file.path, row, name, units)?));
                }
                Kind::Settings => add_setting(&mut entries, record, name, map),
                Kind::Events => entries.extend(event(record, name).map(Entry::Event)),
            }
        }
        if matches!(self.kind, Kind::Settings) && !file.is_at_end {
            self.held = entries.pop();
        }
        self.ready.extend(entries);
        Ok(())
    }
}
