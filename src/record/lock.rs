//! One recorder at a time on a recording.

use std::fs::{self, File, OpenOptions, TryLockError};
use std::io::{self, Write as _};
use std::path::{Path, PathBuf};

use super::layout::LOCK_FILE;
use super::record_error::RecordError;
use crate::process;

/// The right to write a recording; the system takes it back when the process ends, however it ends.
#[derive(Debug)]
pub(super) struct Lock {
    path: PathBuf,
    file: File,
}

impl Lock {
    /// Takes it.
    ///
    /// # Errors
    /// Another process holds it, or the disk does not take the file.
    pub(super) fn take(folder: &Path) -> Result<Self, RecordError> {
        let path = folder.join(LOCK_FILE);
        let mut file = OpenOptions::new()
            .create(true)
            .truncate(false)
            .write(true)
            .open(&path)
            .map_err(|error| RecordError::new(&path, error))?;
        match file.try_lock() {
            Ok(()) => {}
            Err(TryLockError::WouldBlock) => return Err(held(folder, &path)),
            Err(TryLockError::Error(error)) if error.kind() == io::ErrorKind::Unsupported => {}
            Err(TryLockError::Error(error)) => return Err(RecordError::new(&path, error)),
        }
        // Who holds it is a courtesy to whoever comes second.
        let _ = file.set_len(0);
        let _ = write!(file, "{}", process::in_words());
        Ok(Self { path, file })
    }

    /// Leaves no trace of it: the recording is closed.
    pub(super) fn give_up(&self) {
        // Another name for it stays behind at worst; the next recorder takes it over.
        let _ = self.file.unlock();
        let _ = fs::remove_file(&self.path);
    }
}

fn held(folder: &Path, path: &Path) -> RecordError {
    let holder = fs::read_to_string(path).unwrap_or_default();
    let holder = match holder.trim() {
        "" => "another process".to_owned(),
        known => known.to_owned(),
    };
    let error = io::Error::new(
        io::ErrorKind::ResourceBusy,
        format!("{holder} is recording into it"),
    );
    let end = process::number_in(&holder).map_or_else(String::new, |process| {
        format!("; {}", process::how_to_end(process))
    });
    let help = format!(
        "'emberline watch --follow' shows it without disturbing it; to record something else beside \
         it give that another --name{end}"
    );
    RecordError::with_help(folder, error, help)
}
