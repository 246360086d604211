//! Writes a recording: everything that comes, in the order it comes, flushed row by row.
//!
//! What the disk does not take waits in memory, in order, and is tried again.

mod close;
mod run;
mod space;
mod sync;

use std::collections::{BTreeMap, HashMap};
use std::fs;
use std::io;
use std::path::{Path, PathBuf};
use std::sync::Arc;
use std::time::Duration;

use tokio::sync::{broadcast, watch};

use super::disk::{Disk, FileSystem};
use super::facts::{FactsFile, LineHealth};
use super::growth::Growth;
use super::layout::{FACTS_FILE, folder_name, time_cell};
use super::lock::Lock;
use super::loop_files::{LoopFiles, Row};
use super::mend::Mended;
use super::record_error::RecordError;
use super::sums::Sums;
use super::unfinished::Unfinished;
use super::waiting::{MEMORY, Waiting};
use crate::clock::{Clock, Stamp};
use crate::name::Name;
use crate::sample::{Entry, Event, Happening};
use crate::setup::Setup;
use run::{Dropped, Trouble};
use space::SpaceWatch;
use sync::{Unsynced, Upkeep};

/// The longest time between two syncs to the medium, unless told otherwise.
pub const SYNC_EVERY: Duration = Duration::from_secs(5);

/// How far a recorder has come since it was started.
#[derive(Clone, Copy, Debug, Default, PartialEq, Eq)]
pub struct Progress {
    /// Rows of all files that are written.
    pub written: u64,
    /// Rows that wait in memory, because the disk takes none.
    pub waiting: u64,
}

impl Progress {
    /// Rows that came.
    pub fn rows(self) -> u64 {
        self.written + self.waiting
    }
}

/// A recording that is being written.
#[derive(Debug)]
pub struct Recorder {
    folder: PathBuf,
    disk: Arc<dyn Disk>,
    /// Held until the recording is closed or the process ends.
    lock: Lock,
    facts: FactsFile,
    loops: HashMap<Name, LoopFiles>,
    sums: Sums,
    clock: Clock,
    last_stamp: Stamp,
    from: Duration,
    sync_every: Duration,
    unsynced: Unsynced,
    upkeep: Upkeep,
    waiting: Waiting,
    trouble: Option<Trouble>,
    /// The open files may lead nowhere any more.
    must_reopen: bool,
    /// What did not fit into memory, by loop.
    dropped: BTreeMap<Name, Dropped>,
    growth: Growth,
    /// Rows, since it was started.
    written: u64,
    space: SpaceWatch,
    progress: watch::Sender<Progress>,
    /// Whoever looks on; weak, so that they can tell when everything has ended.
    live: Option<broadcast::WeakSender<Entry>>,
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
        let folder = make_folder(disk.as_ref(), into, &folder_name(clock.began(), name))?;
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
        let began = clock.at(Duration::ZERO);
        let failed = |error| RecordError::new(folder, error);
        let mut recorder = Self::open(disk, lock, folder, facts, setup, &nothing, (clock, began))
            .map_err(failed)?;
        // The last file: a folder without it is no recording.
        recorder.write_facts().map_err(failed)?;
        recorder
            .begin_with(Happening::RecordingBegan, "the recording began")
            .map_err(failed)?;
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
            Self::open(disk, lock, &folder, facts, setup, &mended, (clock, now)).map_err(failed)?;
        let full_days = mended.values().flat_map(|it| &it.full_days);
        for path in full_days {
            recorder
                .sums
                .add(path, recorder.disk.as_ref())
                .map_err(failed)?;
        }
        for the_loop in &setup.loops {
            if let Some(files) = recorder.loops.get_mut(&the_loop.name) {
                files.leave_gap_to(the_loop.first_poll_from(now.elapsed));
            }
        }
        recorder
            .begin_with(Happening::Restarted, &what)
            .map_err(failed)?;
        Ok(recorder)
    }

    fn open(
        disk: Box<dyn Disk>,
        lock: Lock,
        folder: &Path,
        facts: FactsFile,
        setup: &Setup,
        mended: &BTreeMap<Name, Mended>,
        (clock, now): (&Clock, Stamp),
    ) -> io::Result<Self> {
        let mut loops = HashMap::new();
        for the_loop in &setup.loops {
            let name = &the_loop.name;
            let nothing = Mended::default();
            let files = LoopFiles::open(
                &folder.join(name.as_str()),
                the_loop,
                mended.get(name).unwrap_or(&nothing),
                disk.as_ref(),
            )?;
            loops.insert(name.clone(), files);
        }
        Ok(Self {
            sums: Sums::open(folder, disk.as_ref())?,
            folder: folder.to_owned(),
            disk: disk.into(),
            lock,
            facts,
            loops,
            clock: clock.clone(),
            last_stamp: now,
            from: now.elapsed,
            sync_every: SYNC_EVERY,
            unsynced: Unsynced::default(),
            upkeep: Upkeep::default(),
            waiting: Waiting::new(MEMORY),
            trouble: None,
            must_reopen: false,
            dropped: BTreeMap::new(),
            growth: Growth::of(setup, now.elapsed),
            written: 0,
            space: SpaceWatch::default(),
            progress: watch::Sender::default(),
            live: None,
        })
    }

    /// The first event, behind the rows of a gap; here there is still somebody to tell of an error.
    fn begin_with(&mut self, what: Happening, text: &str) -> io::Result<()> {
        self.flush()?;
        let event = self.event(what, text.to_owned());
        self.take(&Entry::Event(event))?;
        self.flush()?;
        self.growth.begin();
        Ok(())
    }

    /// How far it has come, whenever somebody wants to know.
    pub fn progress(&self) -> watch::Receiver<Progress> {
        self.progress.subscribe()
    }

    /// When it began to be written: 0, or when it went on.
    pub fn writes_from(&self) -> Duration {
        self.from
    }

    /// Says that its rows come from listening to another master.
    ///
    /// # Errors
    /// The disk does not take it.
    pub fn note_that_it_listens(&mut self) -> Result<(), RecordError> {
        self.facts.listens_only = true;
        let written = self.write_facts();
        written.map_err(|error| RecordError::new(&self.folder, error))
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

    /// Tells whoever looks on what becomes of the disk, as it happens.
    #[must_use]
    pub fn telling(self, live: broadcast::WeakSender<Entry>) -> Self {
        let live = Some(live);
        Self { live, ..self }
    }

    /// The recording is to end so long after its beginning; for the warning that it will not fit.
    #[must_use]
    pub fn ending_at(mut self, end: Option<Duration>) -> Self {
        self.space.end = end;
        self
    }

    #[cfg(test)]
    pub(super) fn with_memory(mut self, bytes: usize) -> Self {
        self.waiting = Waiting::new(bytes);
        self
    }

    /// Turns an entry into rows that wait to be written.
    fn take(&mut self, entry: &Entry) -> io::Result<()> {
        self.last_stamp = self.last_stamp.max(entry.stamp());
        for row in self.rows_of(entry)? {
            self.waiting.push(row);
        }
        Ok(())
    }

    fn rows_of(&mut self, entry: &Entry) -> io::Result<Vec<Row>> {
        let one = |row: io::Result<Row>| row.map(|row| vec![row]);
        match entry {
            Entry::Sample(sample) => match self.loops.get_mut(&sample.of) {
                Some(files) => one(files.row_of_sample(sample)),
                None => Ok(Vec::new()),
            },
            Entry::Settings(settings) => match self.loops.get_mut(&settings.of) {
                Some(files) => files.rows_of_settings(settings),
                None => Ok(Vec::new()),
            },
            Entry::Event(event) => match &event.of {
                Some(name) => self
                    .loops
                    .get(name)
                    .map_or(Ok(Vec::new()), |files| one(files.row_of_event(event))),
                // It concerns every loop.
                None => self
                    .loops
                    .values()
                    .map(|files| files.row_of_event(event))
                    .collect(),
            },
            // Kept for the end: how the line did is one line of the recording's facts.
            Entry::Health(health) => {
                let facts = LineHealth::of(health);
                self.facts.health.insert(health.of.to_string(), facts);
                Ok(Vec::new())
            }
        }
    }

    /// Writes all rows that wait, and flushes them to the system. At an error the row that was not
    /// written is the next one, and nothing behind it is written.
    fn flush(&mut self) -> io::Result<()> {
        if self.must_reopen {
            self.reopen()?;
        }
        while let Some(row) = self.waiting.first() {
            if let Some(files) = self.loops.get_mut(&row.of) {
                files.put(row, self.disk.as_ref())?;
            }
            self.unsynced.add(row.length());
            self.growth.on_written(row.length());
            self.waiting.first_is_written();
            self.written += 1;
        }
        for files in self.loops.values_mut() {
            while files.gap() > 0 {
                let length = files.put_gap_row(&self.clock, self.disk.as_ref())?;
                self.unsynced.add(length);
                self.growth.on_written(length);
                self.written += 1;
            }
        }
        Ok(())
    }

    fn event(&self, what: Happening, text: String) -> Event {
        Event {
            of: None,
            stamp: self.last_stamp,
            what,
            text,
        }
    }

    fn write_facts(&self) -> io::Result<()> {
        let text = self.facts.text()?;
        self.disk
            .replace(&self.folder.join(FACTS_FILE), text.as_bytes())
    }
}

/// Makes a folder of this name; where a clock that was wrong gave the name before, of this and a number.
fn make_folder(disk: &dyn Disk, into: &Path, name: &str) -> Result<PathBuf, RecordError> {
    let numbered = (2..).map(|number| format!("{name}_{number}"));
    for name in std::iter::once(name.to_owned()).chain(numbered) {
        let folder = into.join(name);
        match disk.make_folder(&folder) {
            Err(error) if error.kind() == io::ErrorKind::AlreadyExists => {}
            made => {
                made.map_err(|error| RecordError::new(&folder, error))?;
                return Ok(folder);
            }
        }
    }
    let error = io::Error::from(io::ErrorKind::AlreadyExists);
    Err(RecordError::new(into, error))
}
