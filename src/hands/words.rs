//! What hands ask and owners answer: one line of JSON each.

use serde::{Deserialize, Serialize};

use crate::line::Came;
use crate::name::Name;
use crate::setup::UnitId;

/// A question is at most so long, in bytes.
pub(super) const LONGEST_QUESTION: usize = 64 << 10;
/// An answer is at most so long, in bytes: every register of a unit, and more.
pub(super) const LONGEST_ANSWER: usize = 16 << 20;

/// A question.
#[derive(Debug, PartialEq, Eq, Serialize, Deserialize)]
#[serde(rename_all = "kebab-case")]
pub(super) enum Asked {
    /// A mark in the recording, now.
    Mark {
        text: String,
        /// Only at this loop.
        #[serde(rename = "loop")]
        of: Option<Name>,
    },
    /// Every point of a unit, once, now.
    Read {
        /// The port's lasting identity.
        port: String,
        unit: UnitId,
    },
}

/// An answer.
#[derive(Debug, Serialize, Deserialize)]
#[serde(rename_all = "kebab-case")]
pub(super) enum Answered {
    /// The mark stands on the time axis at this time, RFC 3339.
    Marked(String),
    /// What came from the unit.
    Came(Box<Came>),
    /// It cannot be, in words.
    Refused(String),
}
