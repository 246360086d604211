//! What a loop's figures look like, in words: each with its evidence and the threshold it passed.
//!
//! A diagnosis says where to look, not what is so: the same figures can have other causes. Thresholds
//! are common practice, no source, where none is named.

mod cycles;
mod doors;
mod since;
mod steadiness;
mod steps;
mod still;
mod symptoms;

pub use since::TunedSince;
pub(crate) use steadiness::of_steady;
pub use symptoms::Symptoms;

use super::episode::Episode;
use super::gaps::sample_period;
use crate::trace::Trace;

/// What something looks like.
#[derive(Clone, Debug, PartialEq, serde::Serialize)]
pub struct Diagnosis {
    /// A word for programs.
    pub code: &'static str,
    /// Whether somebody may get hurt: what to do first is in the text.
    pub is_danger: bool,
    /// What it looks like, and what to do.
    pub text: String,
    /// What was seen, and what it was measured by.
    pub evidence: String,
    /// Where it was seen first, in the trace's seconds; `None` for the record as a whole.
    pub start_s: Option<f64>,
    /// The autotune since, where it tells of the tuning before that; `None` where it tells of the tuning
    /// at the record's end, or not of the tuning.
    pub tuned_since: Option<TunedSince>,
}

/// What is known besides the samples.
#[derive(Clone, Copy, Debug, Default, PartialEq)]
pub struct Known {
    /// The output's cycle time, for a time-proportioned output.
    pub cycle_time_s: Option<f64>,
}

/// What the record of `trace` and its `episodes` (from [`find_episodes`](super::find_episodes)) look
/// like; dangers first. Nothing where nothing stands out: that is no proof that all is well.
///
/// ```
/// use emberline::analysis::{Known, Options, Trace, diagnose, find_episodes};
/// // Full output for 20 minutes, and the process value stays where it is.
/// let time_s: Vec<f64> = (0..1200).map(f64::from).collect();
/// let pv: Vec<f64> = time_s.iter().map(|t| 21.0 + 0.1 * (t % 2.0)).collect();
/// let (setpoint, output) = ([510.0; 1200], [100.0; 1200]);
/// let trace = Trace {
///     time_s: &time_s,
///     pv: &pv,
///     setpoint: Some(&setpoint),
///     output: Some(&output),
///     autotune: None,
/// };
/// let episodes = find_episodes(&trace, &Options::default()).unwrap();
/// let found = diagnose(&trace, &episodes, Known::default());
/// assert_eq!(found[0].code, "no-response");
/// assert!(found[0].text.contains("cut the heater power"));
/// ```
pub fn diagnose(trace: &Trace<'_>, episodes: &[Episode], known: Known) -> Vec<Diagnosis> {
    let mut found = symptoms(trace);
    found.extend(cycles::diagnose(trace, episodes, known));
    found.extend(steps::diagnose(trace, episodes));
    found.extend(doors::diagnose(trace, episodes));
    found
}

fn symptoms(trace: &Trace<'_>) -> Vec<Diagnosis> {
    let Some(output) = trace.output else {
        return Vec::new();
    };
    let mut symptoms = Symptoms::new(sample_period(trace.time_s));
    for (index, time_s) in trace.time_s.iter().enumerate() {
        let setpoint = trace.setpoint.map_or(f64::NAN, |setpoint| setpoint[index]);
        symptoms.take(*time_s, trace.pv[index], setpoint, output[index]);
    }
    symptoms.found()
}

/// How often, in words.
fn times(count: usize) -> String {
    match count {
        1 => String::new(),
        2 => " (and once more)".to_owned(),
        more => format!(" (and {} times more)", more - 1),
    }
}
