//! To the medium, and checksums of closed days: on a thread that may wait, so that no row has to.

use std::future::pending;
use std::io;
use std::path::PathBuf;
use std::sync::Arc;
use std::time::Duration;

use tokio::task::{JoinHandle, spawn_blocking};

use super::super::disk::Syncing;
use super::super::growing::Growing;
use super::super::loop_files::{ClosedDay, LoopFiles};
use super::super::record_error::RecordError;
use super::super::sums::sum;
use super::Recorder;
use crate::clock::Stopwatch;

/// What is done beside the writing of rows; one thing at a time, so that order is kept.
#[derive(Debug, Default)]
pub(super) struct Upkeep {
    /// Days that have no checksum yet, in the order they were closed.
    closed: Vec<Closed>,
    running: Option<JoinHandle<io::Result<Vec<Summed>>>>,
}

#[derive(Debug)]
struct Closed {
    day: ClosedDay,
    sum: Option<String>,
}

/// A file and its SHA-256.
type Summed = (PathBuf, String);

/// So much is kept in memory at most until it is on the medium: hours of rows, unless time is simulated.
const MOST_UNSYNCED: usize = 1 << 20;

/// What may not be on the medium.
#[derive(Debug, Default)]
pub(super) struct Unsynced {
    /// Since when, if there is any.
    since: Option<Stopwatch>,
    bytes: usize,
}

impl Unsynced {
    pub(super) fn add(&mut self, bytes: usize) {
        self.since.get_or_insert_with(Stopwatch::start);
        self.bytes += bytes;
    }

    fn is_due(&self, every: Duration) -> bool {
        let is_late = |since: Stopwatch| since.elapsed() >= every;
        self.bytes >= MOST_UNSYNCED || self.since.is_some_and(is_late)
    }
}

impl Upkeep {
    /// What came of what is being done; never, when nothing is. Nothing is lost if the wait is given
    /// up.
    pub(super) async fn done(&mut self) -> io::Result<Vec<Summed>> {
        let Some(running) = &mut self.running else {
            return pending().await;
        };
        let done = running.await;
        self.running = None;
        done.unwrap_or_else(|stopped| Err(io::Error::other(stopped)))
    }
}

impl Recorder {
    /// Starts bringing everything to the medium, where it is time for that.
    pub(super) fn sync_if_due(&mut self) {
        let closed = self.loops.values_mut().flat_map(LoopFiles::take_closed);
        let before = self.upkeep.closed.len();
        self.upkeep
            .closed
            .extend(closed.map(|day| Closed { day, sum: None }));
        // By the real clock: a simulated week need not wait for a thousand syncs.
        let is_late = self.unsynced.is_due(self.sync_every) && !self.is_in_trouble();
        let is_due =
            self.upkeep.closed.len() > before || is_late || self.is_flushed_after_trouble();
        if is_due && self.upkeep.running.is_none() {
            self.start_sync();
        }
    }

    /// Every file that may not be on the medium as it is.
    fn files(&mut self) -> impl Iterator<Item = &mut Growing> {
        let open = self.loops.values_mut().flat_map(LoopFiles::files);
        let closed = self.upkeep.closed.iter_mut().map(|it| &mut it.day.table);
        open.chain(closed).chain(self.sums.file())
    }

    /// Opens every file anew, with what may not have come to the medium.
    pub(super) fn reopen(&mut self) -> io::Result<()> {
        let disk = Arc::clone(&self.disk);
        self.files()
            .try_for_each(|file| file.reopen(disk.as_ref()))?;
        self.must_reopen = false;
        Ok(())
    }

    fn start_sync(&mut self) {
        self.unsynced = Unsynced::default();
        let files: Vec<Syncing> = self.files().map(Growing::begin_sync).collect();
        let without_sum = self.upkeep.closed.iter().filter(|it| it.sum.is_none());
        let paths: Vec<PathBuf> = without_sum.map(|it| it.day.path.clone()).collect();
        self.upkeep.running = Some(spawn_blocking(move || {
            files.into_iter().try_for_each(|syncing| syncing())?;
            let summed = |path: PathBuf| sum(&path).map(|sum| (path, sum));
            paths.into_iter().map(summed).collect()
        }));
    }

    /// Takes in what came of it.
    pub(super) fn synced(&mut self, done: io::Result<Vec<Summed>>) -> Result<(), RecordError> {
        match done.and_then(|summed| self.list(summed)) {
            Ok(()) if self.is_flushed_after_trouble() => {
                self.recovered()?;
                self.write_out()
            }
            Ok(()) => Ok(()),
            Err(error) => {
                // Whether anything came to the medium is not known.
                self.unsynced.add(0);
                self.failed(error)?;
                self.must_reopen = true;
                Ok(())
            }
        }
    }

    /// Writes down the checksums of closed days.
    fn list(&mut self, summed: Vec<Summed>) -> io::Result<()> {
        self.files().for_each(Growing::end_sync);
        for (path, sum) in summed {
            let same = |it: &&mut Closed| it.day.path == path;
            if let Some(closed) = self.upkeep.closed.iter_mut().find(same) {
                closed.sum = Some(sum);
            }
        }
        while let Some(Closed {
            day,
            sum: Some(sum),
        }) = self.upkeep.closed.first()
        {
            self.sums.list(&day.path, sum, self.disk.as_ref())?;
            self.unsynced.add(0);
            self.upkeep.closed.remove(0);
        }
        Ok(())
    }

    /// Brings everything that was written to the medium.
    pub(in super::super) async fn sync(&mut self) -> io::Result<()> {
        if self.upkeep.running.is_some() {
            let done = self.upkeep.done().await;
            done.and_then(|summed| self.list(summed))?;
        }
        self.sync_if_due();
        if self.upkeep.running.is_none() {
            self.start_sync();
        }
        let done = self.upkeep.done().await;
        done.and_then(|summed| self.list(summed))
    }
}
