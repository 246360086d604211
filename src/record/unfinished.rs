//! A recording that was not closed: its process was killed, or the power went.

use std::collections::BTreeMap;
use std::fs;
use std::io;
use std::path::{Path, PathBuf};
use std::sync::Arc;
use std::time::Duration;

use chrono::{DateTime, Utc};

use super::facts::FactsFile;
use super::layout::FACTS_FILE;
use super::lock::Lock;
use super::mend::{Mended, mend};
use super::record_error::RecordError;
use super::sums::name_in;
use crate::clock::{Clock, Machine, Stamp};
use crate::name::Name;
use crate::setup::Setup;

/// A recording that was not closed, taken over, with torn rows set aside.
#[derive(Debug)]
pub struct Unfinished {
    pub(super) folder: PathBuf,
    pub(super) facts: FactsFile,
    pub(super) lock: Lock,
    pub(super) mended: BTreeMap<Name, Mended>,
    began: DateTime<Utc>,
}

impl Unfinished {
    /// The latest recording in `into` of this name that was made with this setup and was not closed.
    ///
    /// # Errors
    /// Another process is writing it, or it cannot be mended.
    pub fn find(into: &Path, name: &str, setup: &Setup) -> Result<Option<Self>, RecordError> {
        let Ok(entries) = fs::read_dir(into) else {
            // What is wrong with the folder shows when a recording is made in it.
            return Ok(None);
        };
        let recordings = entries
            .filter_map(|entry| Some(entry.ok()?.path()))
            .filter_map(|folder| {
                let text = fs::read_to_string(folder.join(FACTS_FILE)).ok()?;
                let facts = FactsFile::parse(&text).ok()?;
                let began = DateTime::parse_from_rfc3339(&facts.began).ok()?.to_utc();
                // Whatever was begun later by the wall clock: that may have been wrong.
                let is_open = facts.ended.is_none();
                let is_same = is_open && facts.name == name && facts.is_of(setup);
                is_same.then_some((began, folder, facts))
            });
        recordings
            .max_by_key(|(began, ..)| *began)
            .map(|(began, folder, facts)| Self::take_over(folder, facts, began, setup))
            .transpose()
    }

    fn take_over(
        folder: PathBuf,
        facts: FactsFile,
        began: DateTime<Utc>,
        setup: &Setup,
    ) -> Result<Self, RecordError> {
        let lock = Lock::take(&folder)?;
        let mut mended = BTreeMap::new();
        for the_loop in &setup.loops {
            let path = folder.join(the_loop.name.as_str());
            let found = match mend(&path) {
                // Power went before it was made.
                Err(error) if error.kind() == io::ErrorKind::NotFound => Mended::default(),
                found => found.map_err(|error| RecordError::new(&path, error))?,
            };
            mended.insert(the_loop.name.clone(), found);
        }
        Ok(Self {
            folder,
            facts,
            lock,
            mended,
            began,
        })
    }

    /// The recording's folder.
    pub fn folder(&self) -> &Path {
        &self.folder
    }

    /// The recording's clock, going on from its last row on this machine.
    pub fn clock(&self, machine: Arc<dyn Machine>) -> Clock {
        Clock::going_on(machine, self.began, self.last())
    }

    /// How long before `now` its last row was, by the wall clock.
    pub fn ended_before(&self, now: DateTime<Utc>) -> Duration {
        (now - self.last().time).to_std().unwrap_or_default()
    }

    /// The latest moment in it.
    fn last(&self) -> Stamp {
        let beginning = Stamp {
            elapsed: Duration::ZERO,
            time: self.began,
        };
        let last = self.mended.values().map(|it| it.last);
        last.filter(|it| *it != Stamp::default())
            .fold(beginning, Stamp::max)
    }

    /// What happened, for the events of the recording.
    pub(super) fn story(&self, now: Stamp) -> String {
        let last = self.last();
        let mut story = vec![match (last.time - now.time).to_std() {
            Ok(behind) if !behind.is_zero() => format!(
                "the recording goes on; after how long is not known, because the system's clock is \
                 {} behind the last row: elapsed_s goes on as if nothing had been missed",
                in_seconds(behind)
            ),
            _ => {
                let gap = now.elapsed.saturating_sub(last.elapsed);
                format!("the recording goes on after {}", in_seconds(gap))
            }
        }];
        let aside = self.mended.values().flat_map(|it| &it.set_aside);
        story.extend(aside.map(|path| {
            let name = name_in(&self.folder, path);
            format!("a torn row was set aside in {name}")
        }));
        story.join("; ")
    }
}

fn in_seconds(time: Duration) -> impl std::fmt::Display {
    humantime::format_duration(Duration::from_secs(time.as_secs()))
}
