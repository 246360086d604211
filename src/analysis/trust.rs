//! What heater and sensor do to the numbers of a step.

use super::episode::Note;
use super::noise::quantum;
use super::output_limit::{AtLimit, Way};
use super::step::Findings;
use crate::figures::{amount, duration};

/// A sensor whose steps are larger than this part of the band is too coarse for it.
const COARSE_PART: f64 = 0.25;

/// The note on a target that the heater cannot reach: the output stayed at its limit to the end, and
/// the process value levelled off short of it.
pub(crate) fn unreachable(found: &Findings<'_>, way: &Way<'_>, limit: AtLimit) -> Option<Note> {
    let last = found.last();
    let short_by = -found.sign * last.mean_over(found.step.target)?;
    let beyond_band = found.settling_band.is_none_or(|band| short_by > band);
    let stayed = way.ends_at(limit.limit, way.from_s + last.begins_s());
    let is_so = short_by > 0.0
        && beyond_band
        && stayed
        && limit.time_s > 0.0
        && last.is_level(found.delta, found.noise_sd);
    is_so.then(|| {
        let text = format!(
            "the process value levelled off {} short of the target with the output at its limit of {} % for {}: more than this heater can do",
            amount(short_by),
            amount(limit.limit),
            duration(limit.time_s)
        );
        Note::new("unreachable", "settling_s", text)
    })
}

/// The note on a sensor whose steps are coarse beside the band.
pub(crate) fn coarse_sensor(found: &Findings<'_>) -> Option<Note> {
    let (band, step) = (found.settling_band?, quantum(&found.line.y)?);
    (step > COARSE_PART * band * (1.0 + 1e-9)).then(|| {
        let text = format!(
            "the process value comes in steps of {}, more than a quarter of the band of {}: a finer reading or a wider band tells more",
            amount(step),
            amount(band)
        );
        Note::new("coarse-sensor", "settling_s", text)
    })
}

/// The note on a step that was keyed in several changes.
pub(crate) fn merged(changes: usize) -> Option<Note> {
    (changes > 1).then(|| {
        let text = format!("{changes} changes, each within 30 s of the one before, are taken as one step to the last value");
        Note::new("merged-changes", "", text)
    })
}
