//! Extremes over ever longer runs, built as the record grows.

use std::ops::Range;

use super::summary::{Summary, join};

/// How many nodes one node of the next level stands for.
const FAN: usize = 8;

/// Summaries of runs: level 0 has one for each chunk, each level above one for eight of the level
/// below. Any range is answered from a few dozen nodes, however long it is.
#[derive(Clone, Debug, Default)]
pub(super) struct Pyramid {
    levels: Vec<Vec<Summary>>,
}

impl Pyramid {
    /// Adds the summary of the next chunk.
    pub(super) fn push(&mut self, summary: Summary) {
        let mut node = summary;
        for level in 0.. {
            if level == self.levels.len() {
                self.levels.push(Vec::new());
            }
            let nodes = &mut self.levels[level];
            nodes.push(node);
            if !nodes.len().is_multiple_of(FAN) {
                return;
            }
            let full = &nodes[nodes.len() - FAN..];
            node = full[1..].iter().fold(full[0], |sum, next| sum.then(*next));
        }
    }

    /// The summary of a range of chunks, all of them pushed; `None` of an empty range.
    pub(super) fn over(&self, range: Range<usize>) -> Option<Summary> {
        let Range { mut start, mut end } = range;
        let (mut left, mut right) = (None, None);
        for nodes in &self.levels {
            while start < end && !start.is_multiple_of(FAN) {
                left = join(left, Some(nodes[start]));
                start += 1;
            }
            while start < end && !end.is_multiple_of(FAN) {
                end -= 1;
                right = join(Some(nodes[end]), right);
            }
            start /= FAN;
            end /= FAN;
        }
        join(left, right)
    }
}
