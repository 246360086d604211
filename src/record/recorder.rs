//! Writes a recording: everything that comes, in the order it comes, flushed row by row.

use std::collections::{BTreeMap, HashMap};
use std::fs;
use std::io;
use std::path::{Path, PathBuf};
use std::time::Duration;

use tokio::sync::mpsc;
use tokio::time::timeout;

use super::disk::{Disk, FileSystem};
use super::facts::{FactsFile, LineHealth};
use super::layout::{FACTS_FILE, folder_name, time_cell};
use super::lock::Lock;
use super::loop_files::LoopFiles;
use super::mend::Mended;
use super::record_error::RecordError;
use super::sums::Sums;
use super::unfinished::Unfinished;
use crate::clock::{Clock, Stamp, Stopwatch};
use crate::name::Name;
use crate::sample::{Entry, Event, Happening, Reading, Sample, State, Why};
use crate::setup::{LoopSetup, Setup};

/// The longest time between two syncs to the medium, unless told otherwise.
pub const SYNC_EVERY: Duration = Duration::from_secs(5);

/// A recording that is being written.
#[derive(Debug)]
pub struct Recorder {
    folder: PathBuf,
    disk: Box<dyn Disk>,
    /// Held until the recording is closed or the process ends.
    lock: Lock,
    facts: FactsFile,
    loops: HashMap<Name, LoopFiles>,
    sums: Sums,
    last_stamp: Stamp,
    from: Duration,
    sync_every: Duration,
    /// Since when something may not be on the medium.
    unsynced: Option<Stopwatch>,
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
        Self::create_on(Box::new(FileSystem), into, name, setup, clock)
    }

    pub(super) fn create_on(
        disk: Box<dyn Disk>,
        into: &Path,
        name: &str,
        setup: &Setup,
        clock: &Clock,
    ) -> Result<Self, RecordError> {
        let folder = into.join(folder_name(clock.began(), name));
        disk.make_folder(&folder)
            .map_err(|error| RecordError::new(&folder, error))?;
        let filled = Self::fill(disk, &folder, name, setup, clock);
        if filled.is_err() {
            // Best effort: the error that is returned says why.
            let _ = fs::remove_dir_all(&folder);
        }
        filled
    }

    fn fill(
        disk: Box<dyn Disk>,
        folder: &Path,
        name: &str,
        setup: &Setup,
        clock: &Clock,
    ) -> Result<Self, RecordError> {
        let facts = FactsFile::new(setup, name, time_cell(clock.began()));
        let lock = Lock::take(folder)?;
        let nothing = BTreeMap::new();
        let mut recorder = Self::open(disk, lock, folder, facts, setup, &nothing)
            .map_err(|error| RecordError::new(folder, error))?;
        // The last file: a folder without it is no recording.
        recorder
            .write_facts()
            .map_err(|error| RecordError::new(folder, error))?;
        recorder.last_stamp = clock.at(Duration::ZERO);
        recorder.note(Happening::RecordingBegan, "the recording began".to_owned())?;
        Ok(recorder)
    }

    /// Goes on with a recording that was not closed. Polls that were due meanwhile get their rows.
    ///
    /// # Errors
    /// The disk does not take it.
    pub fn resume(
        unfinished: Unfinished,
        setup: &Setup,
        clock: &Clock,
    ) -> Result<Self, RecordError> {
        Self::resume_on(Box::new(FileSystem), unfinished, setup, clock)
    }

    pub(super) fn resume_on(
        disk: Box<dyn Disk>,
        unfinished: Unfinished,
        setup: &Setup,
        clock: &Clock,
    ) -> Result<Self, RecordError> {
        let now = clock.now();
        let what = unfinished.story(now);
        let Unfinished {
            folder,
            facts,
            mended,
            lock,
            ..
        } = unfinished;
        let failed = |error| RecordError::new(&folder, error);
        let mut recorder =
            Self::open(disk, lock, &folder, facts, setup, &mended).map_err(failed)?;
        let full_days = mended.values().flat_map(|it| &it.full_days);
        for path in full_days {
            recorder
                .sums
                .add(path, recorder.disk.as_ref())
                .map_err(failed)?;
        }
        for the_loop in &setup.loops {
            recorder.fill_gap(the_loop, clock, now).map_err(failed)?;
        }
        recorder.last_stamp = now;
        recorder.from = now.elapsed;
        recorder.note(Happening::Restarted, what)?;
        Ok(recorder)
    }

    fn open(
        disk: Box<dyn Disk>,
        lock: Lock,
        folder: &Path,
        facts: FactsFile,
        setup: &Setup,
        mended: &BTreeMap<Name, Mended>,
    ) -> io::Result<Self> {
        let mut loops = HashMap::new();
        for the_loop in &setup.loops {
            let name = &the_loop.name;
            let nothing = Mended::default();
            let files = LoopFiles::open(
                &folder.join(name.as_str()),
                the_loop.map.clone(),
                mended.get(name).unwrap_or(&nothing),
                disk.as_ref(),
            )?;
            loops.insert(name.clone(), files);
        }
        Ok(Self {
            sums: Sums::open(folder, disk.as_ref())?,
            folder: folder.to_owned(),
            disk,
            lock,
            facts,
            loops,
            last_stamp: Stamp::default(),
            from: Duration::ZERO,
            sync_every: SYNC_EVERY,
            unsynced: None,
        })
    }

    /// A row for each poll that was due before `now` and has none.
    fn fill_gap(&mut self, the_loop: &LoopSetup, clock: &Clock, now: Stamp) -> io::Result<()> {
        let rows = self.loops.get(&the_loop.name).map_or(0, LoopFiles::rows);
        let readings = the_loop
            .map
            .trend_points()
            .map(|_| Reading::Absent(Why::NotRunning));
        let readings: std::sync::Arc<[Reading]> = readings.collect();
        for number in rows..the_loop.first_poll_from(now.elapsed) {
            let sample = Sample {
                of: the_loop.name.clone(),
                stamp: clock.at(the_loop.every * number),
                state: State::Absent(Why::NotRunning),
                readings: readings.clone(),
            };
            self.write_sample(&sample)?;
        }
        Ok(())
    }

    /// When it began to be written: 0, or when it went on.
    pub fn writes_from(&self) -> Duration {
        self.from
    }

    /// The recording's folder.
    pub fn folder(&self) -> &Path {
        &self.folder
    }

    /// Changes the longest time between two syncs to the medium.
    #[must_use]
    pub fn syncing_every(self, sync_every: Duration) -> Self {
        Self { sync_every, ..self }
    }

    /// Writes until every sender is gone, then closes the recording.
    ///
    /// # Errors
    /// The disk does not take a row.
    pub async fn run(mut self, mut entries: mpsc::Receiver<Entry>) -> Result<PathBuf, RecordError> {
        loop {
            match timeout(self.sync_every, entries.recv()).await {
                Ok(Some(entry)) => self.write(&entry)?,
                Ok(None) => return self.close(),
                Err(_) => {}
            }
            // By the real clock: a simulated week need not wait for a thousand syncs.
            if let Some(unsynced) = self.unsynced
                && unsynced.elapsed() >= self.sync_every
            {
                self.sync().await?;
            }
        }
    }

    /// Brings everything that was written to the medium, on a thread that may wait for it.
    pub(super) async fn sync(&mut self) -> Result<(), RecordError> {
        self.unsynced = None;
        let files: Vec<_> = self.loops.values().flat_map(LoopFiles::syncing).collect();
        let sync_all = move || files.into_iter().try_for_each(|syncing| syncing());
        let synced = tokio::task::spawn_blocking(sync_all).await;
        synced
            .unwrap_or_else(|stopped| Err(io::Error::other(stopped)))
            .map_err(|error| RecordError::new(&self.folder, error))
    }

    /// Writes one entry and flushes it to the system.
    ///
    /// # Errors
    /// The disk does not take it.
    pub fn write(&mut self, entry: &Entry) -> Result<(), RecordError> {
        self.last_stamp = self.last_stamp.max(entry.stamp());
        let written = match entry {
            Entry::Sample(sample) => self.write_sample(sample),
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
        self.unsynced.get_or_insert_with(Stopwatch::start);
        written.map_err(|error| RecordError::new(&self.folder, error))
    }

    fn write_sample(&mut self, sample: &Sample) -> io::Result<()> {
        let disk = self.disk.as_ref();
        let Some(files) = self.loops.get_mut(&sample.of) else {
            return Ok(());
        };
        match files.write_sample(sample, disk)? {
            Some(closed) => self.sums.add(&closed, disk),
            None => Ok(()),
        }
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

    fn write_facts(&self) -> io::Result<()> {
        let text = self.facts.text()?;
        self.disk
            .replace(&self.folder.join(FACTS_FILE), text.as_bytes())
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
        self.loops
            .values()
            .flat_map(LoopFiles::syncing)
            .try_for_each(|syncing| syncing())?;
        self.write_facts()?;
        for file in super::layout::files_of_recording(&self.folder)? {
            self.sums.add(&file, self.disk.as_ref())?;
        }
        self.lock.give_up();
        Ok(())
    }
}
