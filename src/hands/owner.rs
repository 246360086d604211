//! Who holds something, and what it is that is held.

use std::fmt;
use std::fmt::Write as _;
use std::fs;
use std::path::{self, Path, PathBuf};

use serde::{Deserialize, Serialize};
use sha2::{Digest as _, Sha256};

use super::place::places;
use crate::line::lasting_identity;
use crate::process;
use crate::setup::Port;

/// A process that polls lines.
#[derive(Clone, Debug, PartialEq, Eq, Serialize, Deserialize)]
pub struct Owner {
    /// Its number.
    pub process: u32,
    /// The command as it was typed.
    pub command: String,
    /// The folder it records into.
    pub recording: Option<PathBuf>,
    /// Where it listens; `None` while it does not yet, or cannot.
    pub(super) socket: Option<String>,
}

/// What can be held: a port or a recording.
#[derive(Clone, Debug, PartialEq, Eq)]
pub struct Key(pub(super) String);

impl Owner {
    /// This process, which listens nowhere yet.
    pub fn this_process() -> Self {
        Self {
            process: std::process::id(),
            command: process::command(),
            recording: None,
            socket: None,
        }
    }

    /// Whether it can be asked.
    pub fn listens(&self) -> bool {
        self.socket.is_some()
    }

    /// The same, which records into `recording` and listens at `socket`.
    #[must_use]
    pub fn serving(self, recording: Option<&Path>, socket: Option<&str>) -> Self {
        // Others stand in other folders. Not `canonicalize`, which on Windows gives a form that few know.
        let whole = |path: &Path| path::absolute(path).unwrap_or_else(|_| path.to_owned());
        Self {
            recording: recording.map(whole),
            socket: socket.map(str::to_owned),
            ..self
        }
    }
}

impl fmt::Display for Owner {
    fn fmt(&self, f: &mut fmt::Formatter<'_>) -> fmt::Result {
        write!(f, "process {} ({})", self.process, self.command)?;
        match &self.recording {
            Some(folder) => write!(f, ", which records into {}", folder.display()),
            None => Ok(()),
        }
    }
}

impl Key {
    /// Of a port, by whichever of its names.
    pub fn port(port: &Port) -> Self {
        Self(format!("port {}", lasting_identity(port)))
    }

    /// Of a recording's folder.
    pub fn recording(folder: &Path) -> Self {
        let whole = folder.canonicalize().unwrap_or_else(|_| folder.to_owned());
        Self(format!("recording {}", whole.display()))
    }

    /// A file's name for it: names of ports and folders hold what file names may not.
    pub(super) fn stem(&self) -> String {
        let digest = Sha256::digest(self.0.as_bytes());
        let mut stem = String::new();
        for byte in &digest[..8] {
            // Writing to a string does not fail.
            let _ = write!(stem, "{byte:02x}");
        }
        stem
    }

    /// Where its owner says who it is.
    pub(super) fn facts_in(&self, place: &Path) -> PathBuf {
        place.join(format!("{}.json", self.stem()))
    }
}

/// Those who said that they hold it; of one that was killed the word is still there.
pub fn announced(key: &Key) -> Vec<Owner> {
    let of = |place: PathBuf| {
        let text = fs::read_to_string(key.facts_in(&place)).ok()?;
        serde_json::from_str(&text).ok()
    };
    let mut owners: Vec<Owner> = Vec::new();
    for owner in places().unwrap_or_default().into_iter().filter_map(of) {
        if !owners.contains(&owner) {
            owners.push(owner);
        }
    }
    owners
}
