//! What is wrong with a file that should be read.

use std::fmt;
use std::path::Path;

/// What is wrong, where, and what to do.
#[derive(Clone, Debug, PartialEq, Eq)]
pub struct ReadError {
    /// The file.
    pub file: String,
    /// The row, counted from 1 for the header; `None` concerns the whole file.
    pub row: Option<u64>,
    /// What is wrong.
    pub what: String,
    /// What to do next.
    pub help: String,
}

impl ReadError {
    /// An error about a whole file.
    pub fn of_file(file: &Path, what: impl Into<String>, help: impl Into<String>) -> Self {
        Self {
            file: file.display().to_string(),
            row: None,
            what: what.into(),
            help: help.into(),
        }
    }

    /// An error about one row.
    pub fn of_row(file: &Path, row: u64, what: impl Into<String>, help: impl Into<String>) -> Self {
        Self {
            row: Some(row),
            ..Self::of_file(file, what, help)
        }
    }
}

/// A cell as an error shows it: not longer than a line.
pub(super) fn shown(cell: &str) -> String {
    const LONGEST: usize = 40;
    match cell.char_indices().nth(LONGEST) {
        Some((end, _)) => format!("{}...", &cell[..end]),
        None => cell.to_owned(),
    }
}

impl fmt::Display for ReadError {
    fn fmt(&self, f: &mut fmt::Formatter<'_>) -> fmt::Result {
        let Self {
            file,
            row,
            what,
            help,
        } = self;
        match row {
            Some(row) => write!(f, "{file}:{row}: {what}\nhelp: {help}"),
            None => write!(f, "{file}: {what}\nhelp: {help}"),
        }
    }
}

impl std::error::Error for ReadError {}
