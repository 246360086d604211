//! Everything that is known of others on a line while it is listened to.

use std::time::Duration;

use tokio::time::Instant;

use super::census::Census;
use super::cut::{Cutter, Piece};
use super::pairing::{Lateness, Overheard, Pairing};
use crate::line::port::Pace;
use crate::setup::LoopSetup;

/// Bytes in, exchanges of others out.
#[derive(Debug)]
pub(crate) struct Ear {
    cutter: Cutter,
    pairing: Pairing,
    census: Census,
    /// Cut and not yet looked at; empty between calls.
    pieces: Vec<Piece>,
    over: Vec<Overheard>,
}

impl Ear {
    /// Listens to the units of these loops from now on.
    pub(crate) fn of_loops(pace: Pace, answer_within: Duration, loops: &[LoopSetup]) -> Self {
        let mut lateness = Lateness::new();
        for the_loop in loops {
            let late_at_most = the_loop.map.access.late_at_most;
            let known = lateness.entry(the_loop.unit).or_default();
            *known = late_at_most.max(*known);
        }
        Self::new(pace, answer_within, lateness, Instant::now())
    }

    /// Listens from `now` on; what was asked before may still be answered.
    pub(super) fn new(
        pace: Pace,
        answer_within: Duration,
        lateness: Lateness,
        now: Instant,
    ) -> Self {
        Self {
            cutter: Cutter::new(pace),
            pairing: Pairing::new(pace, answer_within, lateness, now),
            census: Census::default(),
            pieces: Vec::new(),
            over: Vec::new(),
        }
    }

    /// Takes in what came at `now`.
    pub(crate) fn take(&mut self, came: &[u8], now: Instant) {
        self.cutter.take(came, now, &mut self.pieces);
        self.look();
    }

    /// From when on all that may be answered was heard.
    pub(crate) fn knows_from(&self) -> Instant {
        self.pairing.knows_from()
    }

    /// When something is settled by time alone.
    pub(crate) fn settles_at(&self) -> Option<Instant> {
        let by_time = self.cutter.settles_at().into_iter().chain(self.over_at());
        by_time.min()
    }

    /// Until when nothing is undecided any more; `None` if nothing is undecided at all.
    pub(crate) fn undecided_since(&self) -> Option<Instant> {
        let since = self.cutter.undecided_since().into_iter();
        since.chain(self.pairing.open_since()).min()
    }

    /// The exchanges that are over by `now`, in the order in which they were asked.
    pub(crate) fn over_by(&mut self, now: Instant) -> Vec<Overheard> {
        self.cutter.settle(now, &mut self.pieces);
        self.look();
        if self.over_at().is_some_and(|at| now >= at) {
            self.pairing.close(&mut self.over);
        }
        std::mem::take(&mut self.over)
    }

    /// The rest, because nothing more will be heard.
    pub(crate) fn finish(&mut self) -> Vec<Overheard> {
        self.cutter.finish(&mut self.pieces);
        self.look();
        self.pairing.close(&mut self.over);
        std::mem::take(&mut self.over)
    }

    /// Who was heard so far.
    pub(crate) fn census(&self) -> &Census {
        &self.census
    }

    /// An answer that is not wholly cut may yet belong to the open exchange.
    fn over_at(&self) -> Option<Instant> {
        let until = self.pairing.over_at()?;
        let undecided = self
            .cutter
            .undecided_since()
            .filter(|since| *since <= until);
        undecided.and(self.cutter.settles_at()).max(Some(until))
    }

    fn look(&mut self) {
        for piece in self.pieces.drain(..) {
            self.census.take(&piece);
            self.pairing.take(&piece, &mut self.over);
        }
    }
}
