//! Whether an older answer of a unit may still be on its way.

use tokio::time::Instant;

use super::frame::{Expected, Framing};

/// What is known of one unit.
#[derive(Clone, Debug, Default)]
pub(crate) struct Trust {
    /// The request whose answer may still come; a suspect unit is asked nothing else.
    outstanding: Option<Outstanding>,
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
    /// No other block's answer has this shape. Otherwise a fence is not enough.
    is_unique: bool,
}

impl Trust {
    /// A request goes out; from now on its answer may be on its way, until `until` at the latest.
    pub(super) fn sent(&mut self, expected: Expected, until: Instant, is_unique: bool) {
        self.outstanding = Some(Outstanding {
            expected,
            until,
            is_unique,
        });
    }

    /// Nothing older can come any more.
    pub(super) fn clear(&mut self) {
        self.outstanding = None;
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
        self.outstanding.as_ref().map(|it| it.until)
    }

    /// Whether a fence would do, as far as this unit is concerned.
    pub(super) fn may_fence(&self) -> bool {
        let is_unique = self.outstanding.as_ref().is_none_or(|it| it.is_unique);
        is_unique && !self.is_ignored && self.returns_query != Some(false)
    }

    /// Looks for the late answer among `received`, of which nothing was asked for. Once it has come
    /// the request is over soon: what may still come is a repetition, by `repeated_until`.
    pub(super) fn overhear(&mut self, framing: Framing, received: &[u8], repeated_until: Instant) {
        let Some(it) = &mut self.outstanding else {
            return;
        };
        let heard = it.expected.find(framing, received);
        if heard.is_some_and(|heard| heard.is_the_units_own()) {
            it.until = it.until.min(repeated_until);
        }
    }
}
