//! What the loop did, in numbers: slices in, results out. No clock, no I/O, no async.
//!
//! Each number has one meaning, told in the documentation of the field that holds it. Every formula
//! works on the good samples and the straight lines between them; sampling may be irregular.
//!
//! [`find_episodes`] finds what happened in a [`Trace`]; [`step_numbers`] works out one step that is
//! known already.

mod check;
mod noise;
mod stretch;
mod gaps;
mod integrals;
mod swings;
mod settle;
mod episode;
mod start;
mod approach;
mod course;
mod output_limit;
mod compare;
mod step;
mod notes;
mod changes;
mod given;
mod find;
mod repeats;
mod diagnosis;

pub use crate::trace::Trace;
pub use check::AnalysisError;
pub use compare::{Comparison, compare_steps, over_window};
pub use diagnosis::{Diagnosis, Known, Symptoms, diagnose};
pub use episode::{Episode, EpisodeKind, Note, StepNumbers, Window};
pub use find::{Options, find_episodes};
pub use given::GivenStep;
pub use integrals::{Integrals, integrals};
pub use noise::noise_sd;
pub use repeats::chance_of_difference;
pub use step::{Measured, Step, step_numbers};
