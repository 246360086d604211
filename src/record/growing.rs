//! A file that grows, with what of it may not be on the medium yet.

use std::io;
use std::path::{Path, PathBuf};

use super::disk::{Disk, Syncing, Tail};

/// A file that can be opened anew when its medium was gone, or did not keep what it took.
///
/// What a system has taken and not brought to the medium is lost by both, often without a second
/// error. So it is kept here until it is there.
#[derive(Debug)]
pub(super) struct Growing {
    path: PathBuf,
    tail: Box<dyn Tail>,
    /// Bytes that are on the medium, and those behind them.
    synced: u64,
    unsynced: Vec<u8>,
    /// Bytes that are on the medium once the sync that was begun last has ended.
    syncing: u64,
}

impl Growing {
    /// At the end of what is there.
    pub(super) fn open(path: &Path, disk: &dyn Disk) -> io::Result<Self> {
        let tail = disk.append(path)?;
        let length = tail.length();
        Ok(Self {
            path: path.to_owned(),
            tail,
            synced: length,
            unsynced: Vec::new(),
            syncing: length,
        })
    }

    pub(super) fn is_empty(&self) -> bool {
        self.tail.length() == 0
    }

    /// Adds all of `bytes` in one write, or, if that fails, nothing.
    pub(super) fn write(&mut self, bytes: &[u8]) -> io::Result<()> {
        self.tail.write(bytes)?;
        self.unsynced.extend_from_slice(bytes);
        Ok(())
    }

    /// What brings everything written so far to the medium.
    pub(super) fn begin_sync(&mut self) -> Syncing {
        self.syncing = self.tail.length();
        self.tail.syncing()
    }

    /// The sync that was begun last has ended well.
    pub(super) fn end_sync(&mut self) {
        self.unsynced.drain(..(self.syncing - self.synced) as usize);
        self.synced = self.syncing;
    }

    /// Opens it anew, and writes again what may not have come to the medium.
    pub(super) fn reopen(&mut self, disk: &dyn Disk) -> io::Result<()> {
        if self.synced > 0 && !self.path.exists() {
            return Err(io::ErrorKind::NotFound.into());
        }
        let mut tail = disk.append(&self.path)?;
        if tail.length() < self.synced {
            let text = format!("{} has become shorter", self.path.display());
            return Err(io::Error::new(io::ErrorKind::UnexpectedEof, text));
        }
        tail.cut(self.synced)?;
        tail.write(&self.unsynced)?;
        self.tail = tail;
        // A sync that still goes on is one of the old file.
        self.syncing = self.synced;
        Ok(())
    }
}
