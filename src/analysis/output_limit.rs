//! Whether the output was at its limit: then the heater, not the tuning, sets the pace.

use crate::trace::Trace;

/// Outputs closer than this are the same.
const SAME: f64 = 0.05;
/// A limit below full power is one when the output lies on it for so many samples in a row.
const PLATEAU: usize = 10;
/// A record whose output moves less than this shows no limit.
const LEAST_RANGE: f64 = 5.0;

/// Time an output spent at its limit.
#[derive(Clone, Copy, Debug, PartialEq)]
pub(crate) struct AtLimit {
    /// The limit in percent.
    pub(crate) limit: f64,
    /// How long.
    pub(crate) time_s: f64,
}

/// How long the output was at the limit that holds back a rise (`sign` +1: the upper one) or a fall
/// (-1: the lower one), between two times. `None` without an output column or a limit in it.
pub(crate) fn at_limit(trace: &Trace<'_>, from_s: f64, to_s: f64, sign: f64) -> Option<AtLimit> {
    let output = trace.output?;
    let limit = limit(output, sign)?;
    let at = |index: usize| sign * (output[index] - limit) >= -SAME;
    let first = trace.time_s.partition_point(|t| *t < from_s);
    let end = trace.time_s.partition_point(|t| *t <= to_s);
    let time_s = (first + 1..end)
        .filter(|index| at(*index) && at(index - 1))
        .map(|index| trace.time_s[index] - trace.time_s[index - 1])
        .sum();
    Some(AtLimit { limit, time_s })
}

/// The end of the output's range: full or no power, or a plateau the record lies on.
pub(crate) fn limit(output: &[f64], sign: f64) -> Option<f64> {
    let known = || output.iter().copied().filter(|u| u.is_finite());
    let (low, high) = (
        known().fold(f64::INFINITY, f64::min),
        known().fold(f64::NEG_INFINITY, f64::max),
    );
    let (extreme, full) = if sign > 0.0 {
        (high, 100.0)
    } else {
        (low, 0.0)
    };
    if (extreme - full).abs() <= SAME {
        return Some(full);
    }
    let plateau = output
        .chunk_by(|a, b| (a - b).abs() <= SAME)
        .any(|run| run.len() >= PLATEAU && run.iter().any(|u| (u - extreme).abs() <= SAME));
    (plateau && high - low > LEAST_RANGE).then_some(extreme)
}

#[cfg(test)]
mod tests {
    use super::*;

    fn time_at_limit(output: &[f64], sign: f64) -> Option<AtLimit> {
        let time_s: Vec<f64> = (0..output.len()).map(|i| i as f64).collect();
        let trace = Trace {
            time_s: &time_s,
            pv: output,
            setpoint: None,
            output: Some(output),
            autotune: None,
        };
        at_limit(&trace, 0.0, f64::INFINITY, sign)
    }

    #[test]
    fn time_at_full_power_is_counted() {
        let found = time_at_limit(&[20.0, 100.0, 100.0, 100.0, 60.0], 1.0).unwrap();
        assert_eq!((found.limit, found.time_s), (100.0, 2.0));
    }

    #[test]
    fn a_limit_below_full_power_shows_as_a_plateau() {
        let mut output = vec![80.0; 12];
        output.push(30.0);
        let found = time_at_limit(&output, 1.0).unwrap();
        assert_eq!((found.limit, found.time_s), (80.0, 11.0));
        assert_eq!(time_at_limit(&[54.0; 20], 1.0), None);
    }
}
