//! Looks at a growing recording again and again.

use std::path::Path;
use std::time::Duration;

use tokio::time::Instant;

use super::Stop;
use crate::clock::Stamp;
use crate::record::{Follower, Opened};
use crate::sample::Entry;

/// How often the files are looked at.
const LOOK_EVERY: Duration = Duration::from_millis(250);
/// Every scheduled poll is a row. Where none is added for so many polls of the quickest loop and for
/// so long, nobody is writing (common practice, no source).
const QUIET_POLLS: u32 = 3;
const QUIET_TIME: Duration = Duration::from_secs(3);

/// News of a recording that another process writes, from its files alone: it may lie on another
/// machine.
pub(super) struct News {
    follower: Follower,
    ended: bool,
    /// When something was added last, as far as we saw.
    added: Instant,
    last: Option<Stamp>,
    quiet_after: Duration,
    /// Between two tellings that it is quiet.
    tell_again: Duration,
}

/// What is new.
pub(super) enum Heard {
    /// This was added.
    Entries(Vec<Entry>),
    /// Nothing was added for this long, and the recording was not closed: nobody is writing it now.
    Quiet(Duration),
    /// It was closed in order, and all was given.
    Ended(Stamp),
}

impl News {
    /// From the recording's first row on.
    pub(super) fn open(folder: &Path) -> Result<Self, Stop> {
        let follower = Follower::open(folder)?;
        let quickest = follower.setup().loops.iter().map(|it| it.every).min();
        let quiet_after = QUIET_POLLS * quickest.unwrap_or_default() + QUIET_TIME;
        Ok(Self {
            follower,
            ended: false,
            added: Instant::now(),
            last: None,
            quiet_after,
            tell_again: quiet_after,
        })
    }

    pub(super) fn opened(&self) -> &Opened {
        self.follower.opened()
    }

    /// The next piece of what is there already; empty when all of it was given.
    pub(super) fn so_far(&mut self) -> Result<Vec<Entry>, Stop> {
        let entries = self.follower.news()?;
        if let Some(last) = entries.last() {
            self.last = Some(last.stamp());
            self.added = Instant::now();
            self.tell_again = self.quiet_after;
        }
        Ok(entries)
    }

    /// The latest moment in the files.
    pub(super) fn latest(&self) -> Result<Stamp, Stop> {
        Ok(self.follower.last()?)
    }

    /// The latest moment in what was given.
    pub(super) fn last(&self) -> Stamp {
        let began = Stamp {
            elapsed: Duration::ZERO,
            time: self.opened().facts.began,
        };
        self.last.unwrap_or(began)
    }

    /// Waits for what is new; nothing is lost if the wait is given up.
    pub(super) async fn next(&mut self) -> Result<Heard, Stop> {
        loop {
            // Whether it has ended is looked up first, so that its last rows are not missed.
            let news = self.so_far()?;
            if !news.is_empty() {
                return Ok(Heard::Entries(news));
            }
            if self.ended {
                return Ok(Heard::Ended(self.last()));
            }
            self.ended = self.follower.has_ended()?;
            if self.ended {
                continue;
            }
            let quiet = self.added.elapsed();
            if quiet >= self.tell_again {
                self.tell_again = 2 * quiet;
                return Ok(Heard::Quiet(quiet));
            }
            tokio::time::sleep(LOOK_EVERY).await;
        }
    }
}
