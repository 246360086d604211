//! A recording that was not closed: its process was killed, or the power went.

use std::collections::BTreeMap;
use std::fs;
use std::io;
use std::path::{Path, PathBuf};
use std::time::Duration;

use chrono::{DateTime, Utc};

use super::facts::FactsFile;
use super::layout::FACTS_FILE;
use super::lock::Lock;
use super::mend::{Mended, mend};
use super::record_error::RecordError;
use super::sums::name_in;
use crate::clock::{Clock, Stamp};
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
    /// How far the system's clock is behind the last row.
    clock_lacks: Duration,
}

impl Unfinished {
    /// The latest recording in `into` of this name that was made with this setup, if it was not
    /// closed.
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
                let is_same = facts.name == name && facts.is_of(setup);
                is_same.then_some((began, folder, facts))
            });
        match recordings.max_by_key(|(began, ..)| *began) {
            Some((began, folder, facts)) if facts.ended.is_none() => {
                Self::take_over(folder, facts, began, setup).map(Some)
            }
            _ => Ok(None),
        }
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
            clock_lacks: Duration::ZERO,
        })
    }

    /// The recording's folder.
    pub fn folder(&self) -> &Path {
        &self.folder
    }

    /// The recording's clock, going on from its beginning.
    pub fn clock(&mut self) -> Clock {
        let (clock, missing) = Clock::going_on(self.began, self.last_elapsed());
        self.clock_lacks = missing;
        clock
    }

    /// The latest moment in it.
    fn last_elapsed(&self) -> Duration {
        let last = self.mended.values().map(|it| it.last_elapsed);
        last.max().unwrap_or_default()
    }

    /// What happened, for the events of the recording.
    pub(super) fn story(&self, now: Stamp) -> String {
        let gap = now.elapsed.saturating_sub(self.last_elapsed());
        let gap = Duration::from_secs(gap.as_secs());
        let mut story = vec![format!(
            "the recording goes on after {}",
            humantime::format_duration(gap)
        )];
        if !self.clock_lacks.is_zero() {
            let lacks = Duration::from_secs(self.clock_lacks.as_secs() + 1);
            story.push(format!(
                "the system's clock was up to {} behind the last row: from here on times are too \
                 late by that",
                humantime::format_duration(lacks)
            ));
        }
        let aside = self.mended.values().flat_map(|it| &it.set_aside);
        story.extend(aside.map(|path| {
            let name = name_in(&self.folder, path);
            format!("a torn row was set aside in {name}")
        }));
        story.join("; ")
    }
}
