//! `recording.toml`: what a recording is, with the setup and the maps as they were used.

use std::collections::BTreeMap;
use std::fs;
use std::io;
use std::path::Path;

use serde::{Deserialize, Serialize};

use super::layout::FACTS_FILE;
use crate::setup::Setup;

/// The layout of recordings this version writes and reads.
pub(crate) const SCHEMA: u32 = 1;

/// The file's content.
#[derive(Clone, Debug, PartialEq, Serialize, Deserialize)]
pub(crate) struct FactsFile {
    pub(crate) schema: u32,
    /// The program's version.
    pub(crate) program: String,
    pub(crate) name: String,
    pub(crate) began: String,
    /// Missing while it runs, and after a crash.
    #[serde(skip_serializing_if = "Option::is_none")]
    pub(crate) ended: Option<String>,
    pub(crate) setup: SetupCopy,
    /// Map texts by the path the setup gives them.
    pub(crate) maps: BTreeMap<String, String>,
}

/// The setup as it was used.
#[derive(Clone, Debug, PartialEq, Serialize, Deserialize)]
pub(crate) struct SetupCopy {
    pub(crate) name: String,
    pub(crate) text: String,
}

impl FactsFile {
    pub(crate) fn new(setup: &Setup, name: &str, began: String) -> Self {
        let maps = setup
            .loops
            .iter()
            .map(|the_loop| (the_loop.map_path.clone(), the_loop.map_text.to_string()));
        Self {
            schema: SCHEMA,
            program: env!("CARGO_PKG_VERSION").to_owned(),
            name: name.to_owned(),
            began,
            ended: None,
            setup: SetupCopy {
                name: setup.name.clone(),
                text: setup.text.clone(),
            },
            maps: maps.collect(),
        }
    }

    /// Writes it beside and moves it into place, so that it is never half there.
    pub(crate) fn write(&self, folder: &Path) -> io::Result<()> {
        let text = toml::to_string(self).map_err(io::Error::other)?;
        let beside = folder.join(format!("{FACTS_FILE}.new"));
        fs::write(&beside, text)?;
        fs::rename(beside, folder.join(FACTS_FILE))
    }

    pub(crate) fn parse(text: &str) -> Result<Self, toml::de::Error> {
        toml::from_str(text)
    }
}
