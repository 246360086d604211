//! Whether an older answer of a unit may still be on its way.

use std::time::Duration;

use tokio::time::Instant;

use super::frame::{Expected, Framing};

/// What is known of one unit.
#[derive(Clone, Debug, Default)]
pub(crate) struct Trust {
    /// Requests whose answers may still come.
    outstanding: Vec<Outstanding>,
    /// A fence is not enough: an outstanding answer has the shape of another block's.
    must_listen: bool,
    /// Whether the unit answers diagnostics; unknown until it did or refused.
    pub(super) returns_query: Option<bool>,
    /// Fences ignored while that is unknown, and whether one was since the unit became suspect.
    ignored: u32,
    is_ignored: bool,
}

/// A unit that has ignored so many fences, and answered none, does not know them.
const FENCES: u32 = 3;

#[derive(Clone, Debug)]
struct Outstanding {
    expected: Expected,
    /// After this its answer never comes.
    until: Instant,
}

impl Trust {
    /// A request goes out; from now on its answer may be on its way, until `until` at the latest.
    pub(super) fn sent(&mut self, expected: Expected, until: Instant, is_unique: bool) {
        self.outstanding.push(Outstanding { expected, until });
        self.must_listen |= !is_unique;
    }

    /// Nothing older can come any more.
    pub(super) fn clear(&mut self) {
        self.outstanding.clear();
        self.must_listen = false;
        self.is_ignored = false;
    }

    /// A unit of which it is not known whether it answers diagnostics did not. It may just be late:
    /// it is asked again the next time it is suspect.
    pub(super) fn ignored_fence(&mut self) {
        self.is_ignored = true;
        self.ignored += 1;
        if self.ignored >= FENCES {
            self.returns_query = Some(false);
        }
    }

    /// From when nothing older can come any more; `None` for a unit in good standing.
    pub(super) fn free_at(&self) -> Option<Instant> {
        self.outstanding.iter().map(|it| it.until).max()
    }

    /// Whether a fence would do, as far as this unit is concerned.
    pub(super) fn may_fence(&self) -> bool {
        !self.must_listen && !self.is_ignored && self.returns_query != Some(false)
    }

    /// Looks for late answers among `received` while nothing else is asked. A request whose answer
    /// has come is over soon after: what may still come is a repetition, and that comes at once.
    pub(super) fn heard(&mut self, framing: Framing, received: &[u8], repeated_until: Instant) {
        for it in &mut self.outstanding {
            if it.expected.find(framing, received).is_some() {
                it.until = it.until.min(repeated_until);
            }
        }
    }
}

/// How long after a late answer its repetition may come: as long as an answer may take.
pub(super) fn repeated_until(now: Instant, answer_within: Duration) -> Instant {
    now + answer_within
}
