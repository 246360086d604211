//! What the loop did, in numbers: slices in, results out. No clock, no I/O, no async.
//!
//! Each number has one meaning, told in the documentation of the field that holds it. Every formula
//! works on the good samples and the straight lines between them; sampling may be irregular.

mod episode;

pub use crate::trace::Trace;
pub use episode::{Episode, EpisodeKind, Note, StepNumbers, Window};
