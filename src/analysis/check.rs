//! What a trace must be before anything is worked out from it.

use crate::trace::Trace;

/// Why no numbers can be had from a trace.
#[derive(Clone, Debug, PartialEq, thiserror::Error)]
pub enum AnalysisError {
    /// A sample is earlier than the one before it.
    #[error(
        "time runs backwards at sample {index}: {now_s} s after {before_s} s; sort the rows or cut the record there"
    )]
    TimeBackwards {
        /// The sample, counted from zero.
        index: usize,
        /// Its time.
        now_s: f64,
        /// The time of the sample before it.
        before_s: f64,
    },
    /// A time or a process value is not a number; a missing sample is to be left out instead.
    #[error("sample {index} has no finite {what}; leave out samples that are missing")]
    NotFinite {
        /// The sample, counted from zero.
        index: usize,
        /// Which column.
        what: &'static str,
    },
    /// A column is longer or shorter than the time column.
    #[error("the {what} column has {len} samples, but there are {times} times")]
    Length {
        /// Which column.
        what: &'static str,
        /// Its length.
        len: usize,
        /// Length of the time column.
        times: usize,
    },
    /// The named step is outside the record.
    #[error("no step can begin at {at_s} s: the record runs from {first_s} s to {last_s} s")]
    StepOutside {
        /// Where the step was said to begin.
        at_s: f64,
        /// First sample.
        first_s: f64,
        /// Last sample.
        last_s: f64,
    },
    /// A step was named, but neither a target nor a setpoint is known.
    #[error(
        "the step at {at_s} s has no target: the record has no setpoint there, so say which one it was"
    )]
    NoTarget {
        /// Where the step begins.
        at_s: f64,
    },
}

/// Checks lengths, finiteness and the order of time.
///
/// # Errors
/// The first fault met.
pub(crate) fn check(trace: &Trace<'_>) -> Result<(), AnalysisError> {
    lengths(trace)?;
    finite("time", trace.time_s)?;
    finite("process value", trace.pv)?;
    forwards(trace.time_s)
}

fn lengths(trace: &Trace<'_>) -> Result<(), AnalysisError> {
    let columns = [
        ("process value", Some(trace.pv.len())),
        ("setpoint", trace.setpoint.map(<[f64]>::len)),
        ("output", trace.output.map(<[f64]>::len)),
        ("autotune", trace.autotune.map(<[bool]>::len)),
    ];
    let times = trace.time_s.len();
    for (what, len) in columns {
        if let Some(len) = len.filter(|len| *len != times) {
            return Err(AnalysisError::Length { what, len, times });
        }
    }
    Ok(())
}

fn finite(what: &'static str, column: &[f64]) -> Result<(), AnalysisError> {
    match column.iter().position(|value| !value.is_finite()) {
        Some(index) => Err(AnalysisError::NotFinite { index, what }),
        None => Ok(()),
    }
}

fn forwards(time_s: &[f64]) -> Result<(), AnalysisError> {
    match time_s.windows(2).position(|pair| pair[1] < pair[0]) {
        Some(before) => Err(AnalysisError::TimeBackwards {
            index: before + 1,
            now_s: time_s[before + 1],
            before_s: time_s[before],
        }),
        None => Ok(()),
    }
}
