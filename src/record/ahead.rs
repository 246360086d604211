//! Several files read at once, their blocks given in order.

use std::collections::VecDeque;
use std::num::NonZero;
use std::panic::resume_unwind;
use std::sync::mpsc::{Receiver, SyncSender, sync_channel};
use std::thread::{self, JoinHandle};

use super::block::{BLOCK_ROWS, Block, Blocks};
use super::read_error::ReadError;
use super::spare::Spare;

/// More threads than this would read faster than anything can be worked out, and take more memory.
const MOST_THREADS: usize = 8;
/// So much of a file is read ahead at most: a day at a row a second, 3.5 MB.
const MOST_BLOCKS: usize = 86_400_usize.div_ceil(BLOCK_ROWS);

/// Opens a file when its turn has come.
pub(super) type Job = Box<dyn FnOnce() -> Result<Box<dyn Blocks>, ReadError> + Send>;

/// Files that are read by as many threads as the machine has cores.
pub(super) struct Ahead {
    waiting: VecDeque<Job>,
    /// In order; blocks are taken from the first.
    reading: VecDeque<Reading>,
    spare: Spare,
    at_once: usize,
}

struct Reading {
    blocks: Receiver<Result<Block, ReadError>>,
    thread: JoinHandle<()>,
}

impl Ahead {
    /// Begins with the first files.
    pub(super) fn new(files: impl IntoIterator<Item = Job>, spare: Spare) -> Self {
        let cores = thread::available_parallelism().map_or(1, NonZero::get);
        Self {
            waiting: files.into_iter().collect(),
            reading: VecDeque::new(),
            spare,
            at_once: cores.min(MOST_THREADS),
        }
    }

    /// The next block, or what makes its file unreadable; `None` behind the last.
    pub(super) fn next(&mut self) -> Option<Result<Block, ReadError>> {
        loop {
            while self.reading.len() < self.at_once
                && let Some(job) = self.waiting.pop_front()
            {
                self.reading
                    .push_back(Reading::begin(job, self.spare.clone()));
            }
            if let Ok(block) = self.reading.front()?.blocks.recv() {
                return Some(block);
            }
            let ended = self.reading.pop_front()?;
            if let Err(panic) = ended.thread.join() {
                // Its rows are missing: that is no end of a file.
                resume_unwind(panic);
            }
        }
    }
}

impl Reading {
    fn begin(job: Job, spare: Spare) -> Self {
        let (sender, blocks) = sync_channel(MOST_BLOCKS);
        let read = move |sender: &SyncSender<_>| {
            let mut file = job()?;
            while let Some(block) = file.next_block(spare.take())? {
                if sender.send(Ok(block)).is_err() {
                    // Nobody wants the rest.
                    break;
                }
            }
            Ok(())
        };
        let thread = thread::spawn(move || {
            if let Err(error) = read(&sender) {
                // Whoever does not want the rest does not want its error.
                let _ = sender.send(Err(error));
            }
        });
        Self { blocks, thread }
    }
}

impl Drop for Ahead {
    /// Waits until every file is closed.
    fn drop(&mut self) {
        for Reading { blocks, thread } in self.reading.drain(..) {
            drop(blocks);
            // A panic there concerns nobody any more.
            let _ = thread.join();
        }
    }
}
