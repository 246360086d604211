//! A step that a person names because the record does not show it.

use super::changes::{KEYING_S, Manner, Movement};
use super::check::AnalysisError;
use crate::trace::Trace;

/// A step that the record itself does not show, because it begins with it or has no setpoint.
#[derive(Clone, Copy, Debug, Default, PartialEq)]
pub struct GivenStep {
    /// When it began, in the trace's seconds; `None` is the record's beginning.
    pub at_s: Option<f64>,
    /// Where it went; `None` is the setpoint of the record at that time.
    pub target: Option<f64>,
}

/// The movements with the given step among them; it takes the place of a movement of the record
/// that it overlaps or that a person would have keyed together with it.
pub(crate) fn with_given(
    trace: &Trace<'_>,
    mut movements: Vec<Movement>,
    given: Option<&GivenStep>,
) -> Result<Vec<Movement>, AnalysisError> {
    let Some(given) = given else {
        return Ok(movements);
    };
    let step = step(trace, given)?;
    let at_s = step.arrives_s;
    movements.retain(|own| own.arrives_s < at_s - KEYING_S || own.begins_s > at_s + KEYING_S);
    let place = movements.partition_point(|own| own.arrives_s < at_s);
    movements.insert(place, step);
    Ok(movements)
}

fn step(trace: &Trace<'_>, given: &GivenStep) -> Result<Movement, AnalysisError> {
    let first_s = trace.time_s.first().copied().unwrap_or_default();
    let last_s = trace.time_s.last().copied().unwrap_or_default();
    let at_s = given.at_s.unwrap_or(first_s);
    if !(first_s..=last_s).contains(&at_s) {
        return Err(AnalysisError::StepOutside {
            at_s,
            first_s,
            last_s,
        });
    }
    let target = given.target.or_else(|| setpoint_from(trace, at_s));
    Ok(Movement {
        manner: Manner::AtOnce,
        begins_s: at_s,
        arrives_s: at_s,
        // Not known: a step that is named is one, however small the record makes it.
        from: f64::NAN,
        to: target.ok_or(AnalysisError::NoTarget { at_s })?,
        changes: 1,
    })
}

/// The first setpoint known from a time on.
fn setpoint_from(trace: &Trace<'_>, at_s: f64) -> Option<f64> {
    let setpoint = trace.setpoint?;
    let first = trace.time_s.partition_point(|t| *t < at_s);
    let known = setpoint[first..].iter().find(|value| value.is_finite());
    known.copied()
}
