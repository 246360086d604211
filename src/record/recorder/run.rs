//! The recorder at work: rows to the disk while it takes them, and into memory while it does not.

use std::io;
use std::path::PathBuf;
use std::time::Duration;

use tokio::sync::{broadcast, mpsc};
use tokio::time::sleep;

use super::super::growth::about;
use super::super::layout::time_cell;
use super::super::record_error::RecordError;
use super::{Progress, Recorder};
use crate::clock::Stamp;
use crate::sample::{Entry, Event, Happening};

/// How often a disk that took nothing is tried again.
pub(in super::super) const RETRY: Duration = Duration::from_secs(3);
/// Least rest between two looks at what is due.
const REST: Duration = Duration::from_millis(50);

/// The disk takes no rows.
#[derive(Debug)]
pub(super) struct Trouble {
    retry_at: Duration,
    /// It has taken all rows again, but whether they are on the medium is not known yet.
    is_flushed: bool,
    /// The most rows that waited.
    waited: usize,
}

/// What did not fit into memory.
#[derive(Debug)]
pub(super) struct Dropped {
    from: Stamp,
    to: Stamp,
    polls: u64,
    others: u64,
}

impl Recorder {
    /// Writes until every sender is gone, then closes the recording. While the disk takes nothing
    /// rows wait in memory, and are written in order when it does again.
    ///
    /// # Errors
    /// An error that no waiting heals; or rows still waited at the end, and the disk did not take
    /// them.
    pub async fn run(mut self, mut entries: mpsc::Receiver<Entry>) -> Result<PathBuf, RecordError> {
        let rest = self.sync_every.clamp(REST, RETRY);
        loop {
            self.look_at_space()?;
            tokio::select! {
                entry = entries.recv() => match entry {
                    Some(entry) => self.write(&entry)?,
                    None => return self.close().await,
                },
                done = self.upkeep.done() => self.synced(done)?,
                () = sleep(rest) => self.write_out()?,
            }
            self.sync_if_due();
        }
    }

    /// Writes one entry and flushes it to the system, or keeps it in memory.
    ///
    /// # Errors
    /// An error that no waiting heals.
    pub fn write(&mut self, entry: &Entry) -> Result<(), RecordError> {
        // Once something was dropped everything is, up to one moment: one gap, and a known one.
        if self.dropped.is_empty() && self.waiting.room() > 0 {
            self.take(entry).map_err(|error| self.error(error))?;
        } else {
            self.drop_entry(entry);
        }
        let written = self.write_out();
        self.progress.send_replace(Progress {
            written: self.written,
            waiting: self.unwritten(),
        });
        written
    }

    pub(super) fn error(&self, error: io::Error) -> RecordError {
        RecordError::new(&self.folder, error)
    }

    /// Writes what waits, unless the disk is given a rest.
    pub(super) fn write_out(&mut self) -> Result<(), RecordError> {
        let now = self.clock.now().elapsed;
        let is_resting = |it: &Trouble| !it.is_flushed && now < it.retry_at;
        if self.trouble.as_ref().is_some_and(is_resting) {
            return Ok(());
        }
        let waited = self.waiting.count();
        match self.flush() {
            Ok(()) => {
                if let Some(trouble) = &mut self.trouble {
                    trouble.waited = trouble.waited.max(waited);
                    trouble.is_flushed = true;
                }
                Ok(())
            }
            Err(error) => self.failed(error),
        }
    }

    /// Goes on in memory after an error.
    pub(super) fn failed(&mut self, error: io::Error) -> Result<(), RecordError> {
        if !heals(&error) {
            return Err(self.error(error));
        }
        self.must_reopen |= !is_lack_of_room(&error);
        let retry_at = self.clock.now().elapsed + RETRY;
        if let Some(trouble) = &mut self.trouble {
            trouble.retry_at = retry_at;
            trouble.is_flushed = false;
            return Ok(());
        }
        self.trouble = Some(Trouble {
            retry_at,
            is_flushed: false,
            waited: 0,
        });
        let room = self.waiting.room();
        let room = self.growth.fits_memory(room, self.last_stamp.elapsed);
        let text = format!(
            "{}: recording goes on in memory, which has room for about {}",
            in_words(&error),
            about(room)
        );
        self.tell(Happening::DiskFailed, text)
    }

    /// Everything that waited is on the medium.
    pub(super) fn recovered(&mut self) -> Result<(), RecordError> {
        let Some(trouble) = self.trouble.take() else {
            return Ok(());
        };
        for (name, dropped) in std::mem::take(&mut self.dropped) {
            let event = Event {
                of: Some(name),
                ..self.event(Happening::RowsDropped, dropped.text())
            };
            self.tell_event(event)?;
        }
        let text = format!(
            "the disk takes rows again: {} rows that waited in memory were written",
            trouble.waited
        );
        self.tell(Happening::DiskBack, text)
    }

    /// Whether all rows are written, but an error before is not yet known to be over.
    pub(super) fn is_flushed_after_trouble(&self) -> bool {
        self.trouble.as_ref().is_some_and(|it| it.is_flushed)
    }

    /// Whether the disk takes nothing.
    pub(super) fn is_in_trouble(&self) -> bool {
        self.trouble.as_ref().is_some_and(|it| !it.is_flushed)
    }

    /// To whoever looks on, and into the recording.
    pub(super) fn tell(&mut self, what: Happening, text: String) -> Result<(), RecordError> {
        self.tell_event(self.event(what, text))
    }

    fn tell_event(&mut self, event: Event) -> Result<(), RecordError> {
        let entry = Entry::Event(event);
        self.show(&entry);
        self.take(&entry).map_err(|error| self.error(error))
    }

    /// Never waits: whoever is slow loses it.
    fn show(&self, entry: &Entry) {
        if let Some(live) = self.live.as_ref().and_then(broadcast::WeakSender::upgrade) {
            // Nobody looking is no failure.
            let _ = live.send(entry.clone());
        }
    }

    /// Counts what does not fit. The newest goes, not the oldest: what is kept then goes on without
    /// a break from the rows on the disk, and what is lost is one gap behind it, like a restart's.
    fn drop_entry(&mut self, entry: &Entry) {
        if self.dropped.is_empty() {
            let text =
                "memory is full: from here on rows get no values until the disk takes rows again";
            let event = self.event(Happening::RowsDropped, text.to_owned());
            self.show(&Entry::Event(event));
        }
        let stamp = entry.stamp();
        self.last_stamp = self.last_stamp.max(stamp);
        let (of, is_poll) = match entry {
            // Next to no room, and without it nobody can tell what the times behind the gap mean.
            Entry::Event(event) if event.what == Happening::ClockStep => {
                return drop(self.take(entry));
            }
            Entry::Sample(sample) => (Some(&sample.of), true),
            Entry::Settings(settings) => (Some(&settings.of), false),
            Entry::Event(event) => (event.of.as_ref(), false),
            // Takes no room: only the last one of a loop is kept.
            Entry::Health(_) => return drop(self.take(entry)),
        };
        for (name, files) in &mut self.loops {
            if of.is_some_and(|of| of != name) {
                continue;
            }
            let dropped = self.dropped.entry(name.clone()).or_insert(Dropped {
                from: stamp,
                to: stamp,
                polls: 0,
                others: 0,
            });
            dropped.to = stamp;
            if is_poll {
                files.widen_gap();
                dropped.polls += 1;
            } else {
                dropped.others += 1;
            }
        }
    }

    /// Rows that are nowhere but in memory, those without values included.
    pub(super) fn unwritten(&self) -> u64 {
        let gaps = self.loops.values().map(|files| u64::from(files.gap()));
        self.waiting.count() as u64 + gaps.sum::<u64>()
    }
}

impl Dropped {
    fn text(&self) -> String {
        let others = match self.others {
            0 => String::new(),
            count => format!("; {count} events and readings of settings were dropped too"),
        };
        format!(
            "memory was full: {} polls from {} to {} lost their values, and their rows say \
             not-running{others}",
            self.polls,
            time_cell(self.from.time),
            time_cell(self.to.time)
        )
    }
}

/// Whether waiting may help: not against a mistake of the program's own.
pub(super) fn heals(error: &io::Error) -> bool {
    use io::ErrorKind::{InvalidData, InvalidInput, Other};
    !matches!(error.kind(), InvalidData | InvalidInput | Other)
}

/// Whether the files are as they were, only that nothing more fits.
pub(super) fn is_lack_of_room(error: &io::Error) -> bool {
    use io::ErrorKind::{QuotaExceeded, StorageFull};
    matches!(error.kind(), QuotaExceeded | StorageFull)
}

/// What is wrong with the disk.
fn in_words(error: &io::Error) -> String {
    match error.kind() {
        io::ErrorKind::StorageFull => "the disk is full".to_owned(),
        io::ErrorKind::QuotaExceeded => "the disk quota is used up".to_owned(),
        io::ErrorKind::ReadOnlyFilesystem => "the disk is read-only".to_owned(),
        io::ErrorKind::NotFound => "the recording's folder is gone".to_owned(),
        _ => format!("the disk takes nothing ({error})"),
    }
}
