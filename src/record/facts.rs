//! `recording.toml`: what a recording is, with the setup and the maps as they were used.

use std::collections::BTreeMap;
use std::io;

use serde::{Deserialize, Serialize};

use crate::sample::Health;
use crate::setup::{LoopSetup, Setup};

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
    /// Nothing was asked: the rows come from what another master read.
    #[serde(default, rename = "listen_only", skip_serializing_if = "is_false")]
    pub(crate) listens_only: bool,
    pub(crate) setup: SetupCopy,
    /// Map texts by the path the setup gives them.
    pub(crate) maps: BTreeMap<String, String>,
    /// How well each loop's unit answered; written at the end.
    #[serde(default, skip_serializing_if = "BTreeMap::is_empty")]
    pub(crate) health: BTreeMap<String, LineHealth>,
}

/// How well a loop's unit answered, in the names of files and `--json`.
#[derive(Clone, Debug, PartialEq, Serialize, Deserialize)]
pub struct LineHealth {
    /// Exchanges that were answered.
    answered: u64,
    /// Exchanges that were not, by the word for the reason.
    lost: BTreeMap<String, u64>,
    /// From the end of a request to the end of its answer, milliseconds.
    #[serde(skip_serializing_if = "Option::is_none")]
    answer_ms: Option<AnswerMs>,
    longest_silence_s: f64,
    /// Share of the line's time, percent.
    line_share_pct: f64,
}

/// Milliseconds.
#[derive(Clone, Debug, PartialEq, Serialize, Deserialize)]
struct AnswerMs {
    median: f64,
    p95: f64,
    p99: f64,
    slowest: f64,
}

impl LineHealth {
    /// The same, rounded to a tenth.
    pub fn of(health: &Health) -> Self {
        let mut lost = BTreeMap::new();
        for (why, count) in &health.lost {
            *lost.entry(why.word().to_owned()).or_default() += count;
        }
        Self {
            answered: health.answered,
            lost,
            answer_ms: health.answer_times.map(|times| AnswerMs {
                median: rounded(times.median.as_secs_f64() * 1000.0),
                p95: rounded(times.p95.as_secs_f64() * 1000.0),
                p99: rounded(times.p99.as_secs_f64() * 1000.0),
                slowest: rounded(times.slowest.as_secs_f64() * 1000.0),
            }),
            longest_silence_s: rounded(health.longest_silence.as_secs_f64()),
            line_share_pct: rounded(100.0 * health.line_share),
        }
    }
}

/// To a tenth.
fn rounded(value: f64) -> f64 {
    (10.0 * value).round() / 10.0
}

/// The setup as it was used.
#[derive(Clone, Debug, PartialEq, Serialize, Deserialize)]
pub(crate) struct SetupCopy {
    pub(crate) name: String,
    pub(crate) text: String,
}

#[expect(
    clippy::trivially_copy_pass_by_ref,
    reason = "serde passes a reference"
)]
fn is_false(value: &bool) -> bool {
    !value
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
            listens_only: false,
            setup: SetupCopy {
                name: setup.name.clone(),
                text: setup.text.clone(),
            },
            maps: maps.collect(),
            health: BTreeMap::new(),
        }
    }

    /// Whether it was made with this setup and these maps.
    pub(crate) fn is_of(&self, setup: &Setup) -> bool {
        let has_map = |the_loop: &LoopSetup| {
            self.maps.get(&the_loop.map_path).map(String::as_str) == Some(&*the_loop.map_text)
        };
        self.setup.text == setup.text && setup.loops.iter().all(has_map)
    }

    /// The file's text.
    pub(crate) fn text(&self) -> io::Result<String> {
        toml::to_string(self).map_err(io::Error::other)
    }

    pub(crate) fn parse(text: &str) -> Result<Self, toml::de::Error> {
        toml::from_str(text)
    }
}
