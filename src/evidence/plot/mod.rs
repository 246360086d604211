//! Pictures as inline SVG: pure functions from samples to markup.
//!
//! Every picture is drawn twice, once for a desk and for paper and once for a phone, because text
//! inside a scaled picture scales with it; the style sheet shows one of them.

mod curve;
mod decimate;
mod label;
mod overview;
mod panel;
mod range;
mod scale;
mod size;
mod step;
mod step_labels;
mod wish;

pub(super) use overview::{Overview, overview};
pub(super) use step::{StepPicture, Zoom};
