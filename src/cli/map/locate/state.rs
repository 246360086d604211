//! What is known after the runs so far, kept beside the setup between them.

use std::collections::BTreeMap;
use std::fs;
use std::io::{self, ErrorKind};
use std::path::{Path, PathBuf};

use serde::{Deserialize, Serialize};

use crate::cli::{Exit, Stop, whole_file};
use crate::map::{Address, Candidate, Fit, Place, Shown, Table};
use crate::setup::{LoopSetup, UnitId};

/// What is known of one loop's points.
#[derive(Debug, Serialize, Deserialize)]
pub(super) struct State {
    unit_number: u8,
    pub(super) points: BTreeMap<String, Known>,
}

/// What is known of one point.
#[derive(Clone, Debug, Default, Serialize, Deserialize)]
pub(super) struct Known {
    /// What the panel showed at each run.
    pub(super) shown: Vec<Shown>,
    /// What is to be asked for in all runs together, and what of it was not yet.
    pub(super) asked: Vec<Stretch>,
    pub(super) left: Vec<Stretch>,
    pub(super) candidates: Vec<Survivor>,
}

impl Known {
    /// Adds what was not asked for in an earlier run: there, candidates were dropped for good.
    pub(super) fn will_ask(&mut self, places: impl Iterator<Item = Place>) {
        for stretch in places.map(Stretch::from) {
            if !self.asked.contains(&stretch) {
                self.asked.push(stretch);
                self.left.push(stretch);
            }
        }
    }
}

/// A candidate that has fitted at every run since it was found.
#[derive(Clone, Debug, Serialize, Deserialize)]
pub(super) struct Survivor {
    #[serde(flatten)]
    pub(super) candidate: Candidate,
    pub(super) fits: Vec<Fit>,
}

/// Registers one after the other.
#[derive(Clone, Copy, Debug, PartialEq, Eq, Serialize, Deserialize)]
pub(super) struct Stretch {
    table: Table,
    first: Address,
    count: u16,
}

impl From<Place> for Stretch {
    fn from(place: Place) -> Self {
        Self {
            table: place.table,
            first: place.address,
            count: place.count,
        }
    }
}

impl From<Stretch> for Place {
    fn from(stretch: Stretch) -> Self {
        Self {
            table: stretch.table,
            address: stretch.first,
            count: stretch.count,
        }
    }
}

/// Where the state of a loop is kept: `oven.annealer-top.locate.json` beside `oven.toml`.
pub(super) fn usual_path(setup: &Path, the_loop: &LoopSetup) -> PathBuf {
    setup.with_extension(format!("{}.locate.json", the_loop.name))
}

impl State {
    /// Nothing is known of this unit.
    pub(super) fn new(unit: UnitId) -> Self {
        Self {
            unit_number: unit.get(),
            points: BTreeMap::new(),
        }
    }

    /// What earlier runs left.
    pub(super) fn load(path: &Path, the_loop: &LoopSetup) -> Result<Self, Stop> {
        let unit_number = the_loop.unit.get();
        let text = match fs::read_to_string(path) {
            Ok(text) => text,
            Err(error) if error.kind() == ErrorKind::NotFound => {
                return Ok(Self::new(the_loop.unit));
            }
            Err(error) => return Err(stop(path, "cannot be read", &error)),
        };
        let begin_anew = "help: move it away, or begin anew with --restart";
        let state: Self = serde_json::from_str(&text).map_err(|error| {
            let text = format!(
                "{}: not what 'map locate' keeps: {error}\n{begin_anew}",
                path.display()
            );
            Stop::new(Exit::Files, text)
        })?;
        if state.unit_number != unit_number {
            let text = format!(
                "{} is of unit {}, and the setup's loop '{}' is unit {unit_number}\n{begin_anew}",
                path.display(),
                state.unit_number,
                the_loop.name,
            );
            return Err(Stop::new(Exit::WrongUse, text));
        }
        Ok(state)
    }

    /// Keeps it for the next run.
    pub(super) fn save(&self, path: &Path) -> Result<(), Stop> {
        let text = serde_json::to_string_pretty(self)?;
        whole_file::write(path, text.as_bytes())
            .map_err(|error| stop(path, "cannot be written", &error))
    }
}

fn stop(path: &Path, what: &str, error: &io::Error) -> Stop {
    let text = format!(
        "{} {what}: {error}\nhelp: --state names another place for what is kept between the runs",
        path.display()
    );
    Stop::new(Exit::Files, text)
}
