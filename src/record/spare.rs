//! Memory for blocks, used again and again.

use std::ops::Deref;
use std::sync::{Arc, Mutex, MutexGuard, PoisonError};

use super::block::{BLOCK_ROWS, RecordedSample};

/// Room of blocks that nobody needs any more. To give it back to the system and ask for it anew, block
/// by block and from one thread to another, took a third of the time of reading a year.
#[derive(Clone, Debug, Default)]
pub(super) struct Spare(Arc<Mutex<Vec<Vec<RecordedSample>>>>);

impl Spare {
    /// Room for a block, empty.
    pub(super) fn take(&self) -> Vec<RecordedSample> {
        let used = self.all().pop();
        used.unwrap_or_else(|| Vec::with_capacity(BLOCK_ROWS))
    }

    fn give(&self, mut samples: Vec<RecordedSample>) {
        samples.clear();
        self.all().push(samples);
    }

    fn all(&self) -> MutexGuard<'_, Vec<Vec<RecordedSample>>> {
        // There is nothing in it that a panic elsewhere could have left half done.
        self.0.lock().unwrap_or_else(PoisonError::into_inner)
    }
}

/// Samples that follow each other.
#[derive(Debug)]
pub struct SampleBlock {
    samples: Vec<RecordedSample>,
    spare: Spare,
}

impl SampleBlock {
    pub(super) fn new(samples: Vec<RecordedSample>, spare: Spare) -> Self {
        Self { samples, spare }
    }
}

impl Deref for SampleBlock {
    type Target = [RecordedSample];

    fn deref(&self) -> &[RecordedSample] {
        &self.samples
    }
}

impl Drop for SampleBlock {
    fn drop(&mut self) {
        self.spare.give(std::mem::take(&mut self.samples));
    }
}
