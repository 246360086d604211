//! The end of a recording.

use std::io;
use std::path::PathBuf;
use std::time::Duration;

use tokio::time::sleep;

use super::super::layout::{files_of_recording, time_cell};
use super::super::record_error::RecordError;
use super::Recorder;
use super::run::{heals, is_lack_of_room};
use crate::sample::{Entry, Happening};

/// How long a disk that takes nothing is tried at the end; whoever stops us waits no longer.
const LAST_TRY: Duration = Duration::from_secs(10);
/// Between two of these tries.
const REST: Duration = Duration::from_secs(1);

impl Recorder {
    /// Ends the recording in order: rows that wait, last events, `ended`, checksums of every file.
    ///
    /// # Errors
    /// The disk does not take it, also when it is tried for some seconds; says how many rows are
    /// lost by that.
    pub async fn close(mut self) -> Result<PathBuf, RecordError> {
        let give_up_at = self.clock.now().elapsed + LAST_TRY;
        while let Err(error) = self.finish().await {
            if !heals(&error) || self.clock.now().elapsed >= give_up_at {
                return Err(self.given_up(&error));
            }
            self.must_reopen |= !is_lack_of_room(&error);
            sleep(REST).await;
        }
        self.lock.give_up();
        Ok(self.folder)
    }

    /// May be called again after an error.
    async fn finish(&mut self) -> io::Result<()> {
        self.flush()?;
        if self.facts.ended.is_none() {
            self.recovered().map_err(|it| it.error)?;
            let event = self.event(Happening::RecordingEnded, "the recording ended".to_owned());
            self.take(&Entry::Event(event))?;
            self.facts.ended = Some(time_cell(self.last_stamp.time));
            self.flush()?;
        }
        self.sync().await?;
        self.write_facts()?;
        for file in files_of_recording(&self.folder)? {
            self.sums.add(&file, self.disk.as_ref())?;
        }
        self.sums.file().map_or(Ok(()), |file| file.begin_sync()())
    }

    fn given_up(&self, error: &io::Error) -> RecordError {
        let text = match self.unwritten() {
            0 => format!("{error}; every row is written, but the recording is not closed"),
            count => format!("{error}; {count} rows were only in memory and are lost"),
        };
        let error = io::Error::new(error.kind(), text);
        let help = "make room on the disk or mend it; the same command then goes on with this \
                    recording, and rows that were lost say not-running";
        RecordError::with_help(&self.folder, error, help)
    }
}
