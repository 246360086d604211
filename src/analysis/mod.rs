//! What the loop did, in numbers: slices in, results out. No clock, no I/O, no async.
//!
//! Each number has one meaning, told in the documentation of the field that holds it. Every formula
//! works on the good samples and the straight lines between them; sampling may be irregular.
//!
//! [`find_episodes`] finds what happened in a [`Trace`]; [`step_numbers`] works out one step that is
//! known already; [`steady()`] and [`Steadiness`] say how steady a loop was, however long the record.

mod check;
mod noise;
mod stretch;
mod gaps;
mod integrals;
mod swings;
mod settle;
mod own;
mod episode;
mod start;
mod approach;
mod course;
mod output_limit;
mod compare;
mod rest;
mod notes;
mod nothing;
mod trust;
mod step;
mod changes;
mod given;
mod ramp;
mod cycles;
mod harmonic;
mod switching;
mod tune;
mod output_step;
mod outline;
mod hold;
mod disturbance;
mod holds;
mod find;
mod repeats;
mod diagnosis;
mod steady;

pub use crate::trace::{Mark, Mode, Told, Trace, TuneEnd, TuneOutcome};
pub use check::AnalysisError;
pub use compare::{Comparison, compare_steps, over_window};
pub use diagnosis::{Diagnosis, Known, Symptoms, TunedSince, diagnose};
pub use episode::{Episode, EpisodeKind, Note, StepNumbers, Window};
pub use find::{Options, find_episodes};
pub use given::GivenStep;
pub use integrals::{Integrals, integrals};
pub use noise::noise_sd;
pub use own::{
    DisturbanceNumbers, HoldNumbers, OutputNumbers, OwnNumbers, RampNumbers, TuneNumbers,
};
pub use repeats::chance_of_difference;
pub use rest::last_part_s;
pub use steady::{
    AllanPoint, Cycle, DayRow, Drift, Excursion, HourRow, Relay, RowFigures, Steadiness, Steady,
    SteadyOptions, SteadyOutput, SteadySample, allan_deviation, steady,
};
pub use step::{Measured, Step, step_numbers};
