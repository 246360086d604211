//! Rows on their way to the disk, in memory that is bounded.

use std::collections::VecDeque;

use super::loop_files::Row;

/// Memory for rows that the disk does not take: a quarter of a million rows, which is eight hours of
/// eight loops at one row a second.
pub(super) const MEMORY: usize = 32 << 20;
/// What a waiting row takes beside its bytes.
pub(super) const ROW_EXTRA: usize = size_of::<Row>() + 16;

/// Rows in the order they came.
#[derive(Debug)]
pub(super) struct Waiting {
    rows: VecDeque<Row>,
    used: usize,
    memory: usize,
}

impl Waiting {
    pub(super) fn new(memory: usize) -> Self {
        Self {
            rows: VecDeque::new(),
            used: 0,
            memory,
        }
    }

    pub(super) fn push(&mut self, row: Row) {
        self.used += ROW_EXTRA + row.length();
        self.rows.push_back(row);
    }

    /// The row that must be written next.
    pub(super) fn first(&self) -> Option<&Row> {
        self.rows.front()
    }

    /// Forgets the first row: it is written.
    pub(super) fn first_is_written(&mut self) {
        if let Some(row) = self.rows.pop_front() {
            self.used -= ROW_EXTRA + row.length();
        }
        if self.rows.is_empty() && self.used == 0 && self.rows.capacity() > 1024 {
            // After hours without a disk.
            self.rows.shrink_to(64);
        }
    }

    pub(super) fn count(&self) -> usize {
        self.rows.len()
    }

    /// Bytes of memory that are left.
    pub(super) fn room(&self) -> usize {
        self.memory.saturating_sub(self.used)
    }
}
