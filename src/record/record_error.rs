//! What could not be written.

use std::io;
use std::path::{Path, PathBuf};

/// What could not be written, and what to do.
#[derive(Debug, thiserror::Error)]
#[error("{path} could not be written: {error}\nhelp: {help}", path = path.display())]
pub struct RecordError {
    /// The file or folder.
    pub path: PathBuf,
    /// The system's reason.
    pub error: io::Error,
    help: String,
}

impl RecordError {
    pub(super) fn new(path: &Path, error: io::Error) -> Self {
        let help = match error.kind() {
            io::ErrorKind::PermissionDenied => "choose a folder you may write to with --into",
            io::ErrorKind::StorageFull => "make room on the disk, or choose another with --into",
            io::ErrorKind::ReadOnlyFilesystem => {
                "the disk is read-only; choose another with --into"
            }
            _ => "check that the folder exists, is a folder, and is on a disk that works",
        };
        Self::with_help(path, error, help)
    }

    pub(super) fn with_help(path: &Path, error: io::Error, help: impl Into<String>) -> Self {
        Self {
            path: path.to_owned(),
            error,
            help: help.into(),
        }
    }
}
