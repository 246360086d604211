//! Writes a recording: everything that comes, in the order it comes, flushed row by row.

use std::collections::HashMap;
use std::fs;
use std::io;
use std::path::{Path, PathBuf};

use tokio::sync::mpsc;

use super::facts::{FactsFile, LineHealth};
use super::layout::{folder_name, time_cell};
use super::loop_files::LoopFiles;
use super::sums;
use crate::clock::{Clock, Stamp};
use crate::name::Name;
use crate::sample::{Entry, Event, Happening};
use crate::setup::Setup;

/// A recording that is being written.
#[derive(Debug)]
pub struct Recorder {
    folder: PathBuf,
    facts: FactsFile,
    loops: HashMap<Name, LoopFiles>,
    last_stamp: Stamp,
}

/// What could not be written, and what to do.
#[derive(Debug, thiserror::Error)]
#[error("{path} could not be written: {error}\nhelp: {help}", path = path.display())]
pub struct RecordError {
    /// The file or folder.
    pub path: PathBuf,
    /// The system's reason.
    pub error: io::Error,
    help: &'static str,
}

impl RecordError {
    fn new(path: &Path, error: io::Error) -> Self {
        let help = match error.kind() {
            io::ErrorKind::PermissionDenied => "choose a folder you may write to with --into",
            io::ErrorKind::StorageFull => "make room on the disk, or choose another with --into",
            io::ErrorKind::ReadOnlyFilesystem => {
                "the disk is read-only; choose another with --into"
            }
            _ => "check that the folder exists, is a folder, and is on a disk that works",
        };
        Self {
            path: path.to_owned(),
            error,
            help,
        }
    }
}

impl Recorder {
    /// Makes the recording's folder in `into` and every file a recording has from the start.
    ///
    /// # Errors
    /// The folder cannot be made or written. Nothing is left behind that looks like a recording.
    pub fn create(
        into: &Path,
        name: &str,
        setup: &Setup,
        clock: &Clock,
    ) -> Result<Self, RecordError> {
        fs::create_dir_all(into).map_err(|error| RecordError::new(into, error))?;
        let folder = into.join(folder_name(clock.began(), name));
        fs::create_dir(&folder).map_err(|error| RecordError::new(&folder, error))?;
        let filled = Self::fill(&folder, name, setup, clock);
        if filled.is_err() {
            // Best effort: the error that is returned says why.
            let _ = fs::remove_dir_all(&folder);
        }
        filled
    }

    fn fill(folder: &Path, name: &str, setup: &Setup, clock: &Clock) -> Result<Self, RecordError> {
        let facts = FactsFile::new(setup, name, time_cell(clock.began()));
        facts
            .write(folder)
            .map_err(|error| RecordError::new(folder, error))?;
        let mut loops = HashMap::new();
        for the_loop in &setup.loops {
            let files =
                LoopFiles::create(&folder.join(the_loop.name.as_str()), the_loop.map.clone())
                    .map_err(|error| RecordError::new(folder, error))?;
            loops.insert(the_loop.name.clone(), files);
        }
        let last_stamp = clock.at(std::time::Duration::ZERO);
        let mut recorder = Self {
            folder: folder.to_owned(),
            facts,
            loops,
            last_stamp,
        };
        recorder.note(Happening::RecordingBegan, "the recording began".to_owned())?;
        Ok(recorder)
    }

    /// The recording's folder.
    pub fn folder(&self) -> &Path {
        &self.folder
    }

    /// Writes until every sender is gone, then closes the recording.
    ///
    /// # Errors
    /// The disk does not take a row.
    pub async fn run(mut self, mut entries: mpsc::Receiver<Entry>) -> Result<PathBuf, RecordError> {
        while let Some(entry) = entries.recv().await {
            self.write(&entry)?;
        }
        self.close()
    }

    /// Writes one entry and flushes it to the system.
    ///
    /// # Errors
    /// The disk does not take it.
    pub fn write(&mut self, entry: &Entry) -> Result<(), RecordError> {
        self.last_stamp = self.last_stamp.max(entry.stamp());
        let written = match entry {
            Entry::Sample(sample) => self.on_loop(&sample.of, |files| files.write_sample(sample)),
            Entry::Settings(settings) => {
                self.on_loop(&settings.of, |files| files.write_settings(settings))
            }
            Entry::Event(event) => self.write_event(event),
            // Kept for the end: how the line did is one line of the recording's facts.
            Entry::Health(health) => {
                self.facts
                    .health
                    .insert(health.of.to_string(), LineHealth::of(health));
                Ok(())
            }
        };
        written.map_err(|error| RecordError::new(&self.folder, error))
    }

    fn on_loop(
        &mut self,
        name: &Name,
        write: impl FnOnce(&mut LoopFiles) -> io::Result<()>,
    ) -> io::Result<()> {
        self.loops.get_mut(name).map_or(Ok(()), write)
    }

    /// An event without a loop concerns every loop.
    fn write_event(&mut self, event: &Event) -> io::Result<()> {
        match &event.of {
            Some(name) => self.on_loop(name, |files| files.write_event(event)),
            None => self
                .loops
                .values_mut()
                .try_for_each(|files| files.write_event(event)),
        }
    }

    fn note(&mut self, what: Happening, text: String) -> Result<(), RecordError> {
        self.write(&Entry::Event(Event {
            of: None,
            stamp: self.last_stamp,
            what,
            text,
        }))
    }

    /// Ends the recording in order: last events, `ended`, checksums of every file.
    ///
    /// # Errors
    /// The disk does not take it.
    pub fn close(mut self) -> Result<PathBuf, RecordError> {
        self.note(Happening::RecordingEnded, "the recording ended".to_owned())?;
        self.facts.ended = Some(time_cell(self.last_stamp.time));
        self.finish()
            .map_err(|error| RecordError::new(&self.folder, error))?;
        Ok(self.folder)
    }

    fn finish(&mut self) -> io::Result<()> {
        self.loops.values_mut().try_for_each(LoopFiles::sync)?;
        self.facts.write(&self.folder)?;
        sums::write(&self.folder)
    }
}
