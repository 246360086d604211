//! Why a number of a step is not there.

use super::episode::{NONE, Note, StepNumbers};
use super::step::Findings;
use crate::figures::amount;

/// A note for each number of a step that is `None` and that no other note is about.
pub(crate) fn of_step(found: &Findings<'_>, numbers: &StepNumbers) -> Vec<Note> {
    let mut notes = of_arrival(found, numbers);
    if !found.has_percentages() {
        notes.push(small_step(found, "rise_s"));
    }
    if numbers.final_error.is_none() {
        let text = "there is no sample in the last tenth";
        notes.push(Note::new("few-samples", "final_error", text));
    }
    if numbers.decay_ratio.is_none() {
        let no_second = "it did not go past the target a second time as part of an oscillation";
        notes.extend(["period_s", "decay_ratio"].map(|about| Note::new(NONE, about, no_second)));
    }
    if numbers.amplitude.is_none() {
        let text = match found.course.settled {
            Some(_) => "it settled, so no oscillation lasts",
            None => "it does not swing on for whole cycles after the first",
        };
        notes.push(Note::new(NONE, "amplitude", text));
    }
    notes
}

/// The same for what a ramp has in common with it.
pub(crate) fn of_arrival(found: &Findings<'_>, numbers: &StepNumbers) -> Vec<Note> {
    let mut notes = Vec::new();
    if numbers.peak_s.is_none() {
        notes.push(Note::new(NONE, "peak_s", "no overshoot, so no peak"));
    }
    if numbers.overshoot_smoothed.is_none() {
        let text = "the noise does not matter to the overshoot";
        notes.push(Note::new(NONE, "overshoot_smoothed", text));
    }
    if numbers.settling_2pct_s.is_none() && found.has_percentages() {
        let same = numbers.settling_band == Some(0.02 * found.delta.abs());
        let text = "as settling_s: the band is 2 % of the step";
        notes.extend(same.then(|| Note::new(NONE, "settling_2pct_s", text)));
    }
    if !found.has_percentages() {
        notes.push(small_step(found, "settling_2pct_s"));
        if numbers.settling_band.is_none() {
            notes.extend(["settling_band", "settling_s"].map(|about| small_step(found, about)));
        }
    }
    notes
}

fn small_step(found: &Findings<'_>, about: &'static str) -> Note {
    let text = format!(
        "the process value began {} from the target, less than {}: no percentages",
        amount(found.delta.abs()),
        amount(found.step.min_step)
    );
    Note::new("small-step", about, text)
}
