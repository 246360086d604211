//! What a command works on that takes a setup or a recording.

use std::path::{Path, PathBuf};

use super::{Exit, Stop};
use crate::record::{self, Opened};
use crate::setup::Setup;

/// A setup, or a recording and the setup it was made with.
pub(super) enum Target {
    Setup(Box<Setup>),
    Recording(Box<Opened>),
}

impl Target {
    /// # Errors
    /// It is neither; which was meant is told from whether it is a folder.
    pub(super) fn load(path: &Path) -> Result<Self, Stop> {
        if record::is_recording(path) {
            return Ok(Self::Recording(Box::new(record::open(path)?)));
        }
        if path.is_dir() {
            return Err(no_recording(path));
        }
        Ok(Self::Setup(Box::new(Setup::load(path)?)))
    }

    pub(super) fn setup(&self) -> &Setup {
        match self {
            Self::Setup(setup) => setup,
            Self::Recording(opened) => &opened.setup,
        }
    }
}

/// Opens what must be a recording.
pub(super) fn recording(path: &Path) -> Result<Opened, Stop> {
    if record::is_recording(path) {
        return Ok(record::open(path)?);
    }
    Err(no_recording(path))
}

fn no_recording(path: &Path) -> Stop {
    let shown = path.display();
    let text = if !path.exists() {
        format!(
            "{shown} is not there\nhelp: name a recording's folder, the one that holds recording.toml"
        )
    } else if let Some(inside) = one_inside(path) {
        format!(
            "{shown} is no recording, but holds some\nhelp: name one of them, for example {}",
            inside.display()
        )
    } else {
        format!(
            "{shown} is no recording: there is no recording.toml in it\n\
             help: name a recording's folder, for example recordings/2027-03-04T06-00-00Z_oven"
        )
    };
    Stop::new(Exit::Files, text)
}

/// The latest recording in a folder of recordings.
fn one_inside(path: &Path) -> Option<PathBuf> {
    let entries = path.read_dir().ok()?;
    let folders = entries.filter_map(|entry| Some(entry.ok()?.path()));
    // Their names begin with the time.
    folders.filter(|folder| record::is_recording(folder)).max()
}
