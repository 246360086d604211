//! Samples as they come out of files: in blocks, so that a year needs no more memory than a day.

use std::path::PathBuf;

use super::read_error::ReadError;
use crate::sample::State;

/// Rows of a block, at most: 320 KB. With smaller ones more time goes into handing them over.
pub(super) const BLOCK_ROWS: usize = 8192;

/// One row of a loop's record.
#[derive(Clone, Copy, Debug, PartialEq)]
pub struct RecordedSample {
    /// Seconds since the record began, never decreasing.
    pub time_s: f64,
    /// Process value, in the unit of the loop's first file; NaN where the row has none.
    pub pv: f64,
    /// Setpoint, in the same unit; NaN where the row has none.
    pub setpoint: f64,
    /// Output in percent; NaN where the row has none.
    pub output: f64,
    /// Whether an autotune was under way.
    pub autotune: bool,
    /// What the recording says of the poll; `None` for a word that this version does not know, and
    /// in a plain CSV.
    pub state: Option<State>,
}

/// What rows there were.
#[derive(Clone, Debug, Default, PartialEq, Eq)]
pub struct RowCounts {
    /// Rows in all, those without a process value and those that were left out included.
    pub rows: usize,
    /// Rows by state, for states other than `good`, in the order first met; `unreadable` for those
    /// that were left out, `empty` for those of a plain CSV without a process value.
    pub bad: Vec<(String, usize)>,
    /// Rows with the time of the row above.
    pub repeated: usize,
}

impl RowCounts {
    /// More rows of this state.
    pub(super) fn count(&mut self, state: &str, rows: usize) {
        match self.bad.iter_mut().find(|(known, _)| known == state) {
            Some((_, count)) => *count += rows,
            None => self.bad.push((state.to_owned(), rows)),
        }
    }

    /// Fewer rows of this state.
    pub(super) fn discount(&mut self, state: &str) {
        if let Some((_, count)) = self.bad.iter_mut().find(|(known, _)| known == state) {
            *count -= 1;
        }
        self.bad.retain(|(_, count)| *count > 0);
    }

    /// Adds the rows of a part that follows.
    pub fn add(&mut self, part: &Self) {
        self.rows += part.rows;
        self.repeated += part.repeated;
        for (state, rows) in &part.bad {
            self.count(state, *rows);
        }
    }
}

/// Samples of one file, in order, and what was met while they were read.
#[derive(Debug)]
pub(super) struct Block {
    pub(super) file: PathBuf,
    /// The number of the row of its first sample.
    pub(super) first_row: u64,
    pub(super) samples: Vec<RecordedSample>,
    pub(super) counts: RowCounts,
}

impl Block {
    pub(super) fn is_full(&self) -> bool {
        self.samples.len() >= BLOCK_ROWS
    }
}

/// A file that gives its samples in blocks.
pub(super) trait Blocks: Send {
    /// The next one, in this room; `None` at the end.
    fn next_block(&mut self, room: Vec<RecordedSample>) -> Result<Option<Block>, ReadError>;
}
