//! Looks at a growing recording again and again.

use std::path::Path;
use std::time::Duration;

use super::Stop;
use crate::record::Follower;
use crate::sample::Entry;

/// How often the files are looked at.
const LOOK_EVERY: Duration = Duration::from_millis(250);

/// News of a recording that another process writes.
pub(super) struct News {
    follower: Follower,
    ended: bool,
}

impl News {
    /// From the recording's first row on.
    pub(super) fn open(folder: &Path) -> Result<Self, Stop> {
        Ok(Self {
            follower: Follower::open(folder)?,
            ended: false,
        })
    }

    pub(super) fn follower(&self) -> &Follower {
        &self.follower
    }

    /// What is there already.
    pub(super) fn so_far(&mut self) -> Result<Vec<Entry>, Stop> {
        Ok(self.follower.news()?)
    }

    /// Waits for what is added next; `None` when the recording has ended in order and all was given.
    pub(super) async fn next(&mut self) -> Result<Option<Vec<Entry>>, Stop> {
        loop {
            // Whether it has ended is looked up first, so that its last rows are not missed.
            let news = self.follower.news()?;
            if !news.is_empty() {
                return Ok(Some(news));
            }
            if self.ended {
                return Ok(None);
            }
            self.ended = self.follower.has_ended()?;
            if !self.ended {
                tokio::time::sleep(LOOK_EVERY).await;
            }
        }
    }
}
