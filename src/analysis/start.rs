//! Where a step starts from.

use super::step::Step;
use super::stretch::Stretch;
use crate::trace::Trace;

/// The start is averaged over at most this long.
const LOOK_BACK_S: f64 = 60.0;
/// Fewer samples than this are not averaged.
const FEWEST: usize = 3;

/// The process value when a step began.
#[derive(Clone, Copy, Debug, PartialEq)]
pub(crate) struct Start {
    /// The value.
    pub(crate) value: f64,
    /// Whether it is a mean, not the single value at the step.
    pub(crate) averaged: bool,
}

/// The mean of the samples of the last minute up to the step, but not from before the episode that
/// came before it; with fewer than three samples the process value at the step itself. `None` when
/// there is no sample at all.
pub(crate) fn start(trace: &Trace<'_>, step: &Step, line: &Stretch) -> Option<Start> {
    let from_s = (step.at_s - LOOK_BACK_S).max(step.since_s);
    let first = trace.time_s.partition_point(|t| *t < from_s);
    let end = trace.time_s.partition_point(|t| *t <= step.at_s);
    let before = trace.pv.get(first..end).unwrap_or_default();
    if before.len() >= FEWEST {
        let value = before.iter().sum::<f64>() / before.len() as f64;
        return Some(Start {
            value,
            averaged: true,
        });
    }
    line.y.first().map(|value| Start {
        value: *value,
        averaged: false,
    })
}
