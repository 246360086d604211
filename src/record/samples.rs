//! A loop's samples, streamed.

use std::path::PathBuf;

use super::ahead::{Ahead, Job};
use super::block::{Block, RecordedSample, RowCounts};
use super::day_file::BACKWARDS;
use super::read_error::ReadError;
use super::recording_source::UNREADABLE;
use super::spare::{SampleBlock, Spare};

/// The samples of one loop in the order of time, in blocks: every row, also those without a process
/// value. Files are read ahead by several threads; memory does not grow with the record.
///
/// An error (a row that cannot be read, with its file and number) is the last thing it gives.
pub struct Samples {
    files: Option<Ahead>,
    spare: Spare,
    skip_bad: bool,
    /// Of the last sample.
    file: PathBuf,
    last_s: f64,
    counts: RowCounts,
}

impl Samples {
    pub(super) fn new(files: impl IntoIterator<Item = Job>, skip_bad: bool) -> Self {
        let spare = Spare::default();
        Self {
            files: Some(Ahead::new(files, spare.clone())),
            spare,
            skip_bad,
            file: PathBuf::new(),
            last_s: f64::NEG_INFINITY,
            counts: RowCounts::default(),
        }
    }

    /// What rows there were up to here.
    pub fn counts(&self) -> &RowCounts {
        &self.counts
    }

    /// Sees to it that files follow each other in time, too.
    fn behind_the_last(&mut self, block: &mut Block) -> Result<(), ReadError> {
        let begins_file = self.file != block.file;
        if begins_file {
            self.file.clone_from(&block.file);
        }
        let is_early = |sample: &RecordedSample| sample.time_s < self.last_s;
        let early = block.samples.partition_point(is_early);
        if early > 0 && !self.skip_bad {
            return Err(backwards(block));
        }
        for sample in block.samples.drain(..early) {
            if let Some(state) = sample.state {
                block.counts.discount(state.word());
            }
            block.counts.count(UNREADABLE, 1);
        }
        if let (Some(first), Some(last)) = (block.samples.first(), block.samples.last()) {
            let is_repeated = (begins_file || early > 0) && first.time_s <= self.last_s;
            block.counts.repeated += usize::from(is_repeated);
            self.last_s = last.time_s;
        }
        Ok(())
    }
}

impl Iterator for Samples {
    type Item = Result<SampleBlock, ReadError>;

    fn next(&mut self) -> Option<Self::Item> {
        let read = self.files.as_mut()?.next();
        let read = read.map(|block| {
            let mut block = block?;
            self.behind_the_last(&mut block)?;
            self.counts.add(&block.counts);
            Ok(SampleBlock::new(block.samples, self.spare.clone()))
        });
        if !matches!(read, Some(Ok(_))) {
            self.files = None;
        }
        read
    }
}

fn backwards(block: &Block) -> ReadError {
    let first_s = block.samples.first().map_or(f64::NAN, |it| it.time_s);
    let what = format!("elapsed_s {first_s} is before the last row of the file before it");
    ReadError::of_row(&block.file, block.first_row, what, BACKWARDS)
}
