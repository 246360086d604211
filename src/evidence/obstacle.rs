//! Why two steps are not the same test, as far as the records tell.

use crate::analysis::Note;

use super::comparison::{Comparison, Side};
use super::format;

/// Roles whose setting must be the same in both steps, with how a person calls them.
const MUST_AGREE: [(&str, &str); 9] = [
    ("output-high", "the upper output limit"),
    ("output-low", "the lower output limit"),
    ("mode", "the mode"),
    ("control-mode", "the control mode"),
    ("control-action", "the control action"),
    ("output-type", "the output type"),
    ("input-type", "the sensor input type"),
    ("pv-offset", "the process value offset"),
    ("ramp-rate", "the setpoint ramp rate"),
];

/// Every reason, in the order a doubter would ask; empty when there is none.
pub(super) fn find(comparison: &Comparison<'_>) -> Vec<Note> {
    let checks: [fn(&Comparison<'_>) -> Option<Note>; 7] =
        [numbers, equipment, unit, target, start, window, band];
    let mut found: Vec<Note> = checks
        .iter()
        .filter_map(|check| check(comparison))
        .collect();
    found.extend(settings(comparison));
    found
}

fn note(about: &'static str, text: String) -> Note {
    Note {
        code: "not-comparable",
        about,
        text,
    }
}

fn numbers(comparison: &Comparison<'_>) -> Option<Note> {
    let [before, after] = comparison.sides().map(|side| side.has_numbers());
    let which = match (before, after) {
        (true, true) => return None,
        (false, true) => "the step before has no numbers",
        (true, false) => "the step after has no numbers",
        (false, false) => "neither step has numbers",
    };
    Some(note("", which.to_owned()))
}

fn equipment(comparison: &Comparison<'_>) -> Option<Note> {
    let [before, after] = comparison
        .sides()
        .map(|side| side.facts.map_or("", |facts| facts.job.equipment.trim()));
    let differ = !before.is_empty() && !after.is_empty() && before != after;
    differ.then(|| {
        note(
            "equipment",
            format!("the equipment differs: \u{201c}{before}\u{201d} before, \u{201c}{after}\u{201d} after"),
        )
    })
}

fn unit(comparison: &Comparison<'_>) -> Option<Note> {
    let [before, after] = comparison.sides().map(|side| side.record.unit.as_deref());
    let (before, after) = (before?, after?);
    (before != after).then(|| {
        let [before, after] = [before, after].map(format::unit_sign);
        note(
            "unit",
            format!("the unit differs: {before} before, {after} after"),
        )
    })
}

fn target(comparison: &Comparison<'_>) -> Option<Note> {
    differing(comparison, "to", "target temperature", |side| {
        side.episode.to.map(|value| (value, 0.05))
    })
}

fn start(comparison: &Comparison<'_>) -> Option<Note> {
    differing(comparison, "from", "start temperature", |side| {
        let start = side.episode.numbers.initial.or(side.episode.from)?;
        Some((start, start_tolerance(side, start)))
    })
}

/// Starts this far apart still count as one: the band, or 5 % of the step if that is more. Common
/// practice, no source.
fn start_tolerance(side: Side<'_>, start: f64) -> f64 {
    let step = side.episode.to.map_or(0.0, |to| (to - start).abs());
    let band = side.episode.numbers.settling_band.unwrap_or(0.0);
    band.max(0.05 * step)
}

fn differing(
    comparison: &Comparison<'_>,
    about: &'static str,
    what: &str,
    value: impl Fn(Side<'_>) -> Option<(f64, f64)>,
) -> Option<Note> {
    let [before, after] = comparison.sides().map(value);
    let ((before, near), (after, also_near)) = (before?, after?);
    ((before - after).abs() > near.min(also_near)).then(|| {
        let unit = format::unit_sign(comparison.unit());
        let [before, after] = [before, after].map(|value| format::quantity(value, 1, unit));
        note(
            about,
            format!("the {what} differs: {before} before, {after} after"),
        )
    })
}

/// Integrals over different lengths of time say nothing about each other.
fn window(comparison: &Comparison<'_>) -> Option<Note> {
    let [before, after] = comparison.sides().map(|side| side.episode.numbers.window_s);
    let (before, after) = (before?, after?);
    // A sample more or less is the same window.
    let near = 0.01 * before.max(after);
    ((before - after).abs() > near).then(|| {
        let [before, after] = [before, after].map(format::span);
        note(
            "window_s",
            format!(
                "the numbers look at different lengths of time: {before} before, {after} after"
            ),
        )
    })
}

fn band(comparison: &Comparison<'_>) -> Option<Note> {
    let [before, after] = comparison
        .sides()
        .map(|side| side.episode.numbers.settling_band);
    let (before, after) = (before?, after?);
    // Two percent of two nearly equal steps is nearly the same band.
    ((before - after).abs() > 0.05 * before.max(after)).then(|| {
        let unit = format::unit_sign(comparison.unit());
        let [before, after] = [before, after].map(|band| format::quantity(band, 2, unit));
        note(
            "settling_band",
            format!("the band differs: \u{b1}{before} before, \u{b1}{after} after"),
        )
    })
}

fn settings(comparison: &Comparison<'_>) -> impl Iterator<Item = Note> {
    MUST_AGREE.iter().filter_map(move |(role, words)| {
        let [before, after] = comparison.sides().map(|side| side.setting(role));
        let (before, after) = (before?, after?);
        let known = !before.value.is_empty() && !after.value.is_empty();
        (known && !same_value(&before.value, &after.value)).then(|| {
            let [before, after] = [before, after].map(|setting| {
                format::with_unit(
                    &format::as_written(&setting.value),
                    format::unit_sign(&setting.unit),
                )
            });
            note(
                "settings",
                format!("{words} differs: {before} before, {after} after"),
            )
        })
    })
}

/// Whether two values as written are one: as numbers where both are, else as text.
pub(super) fn same_value(a: &str, b: &str) -> bool {
    match (a.parse::<f64>(), b.parse::<f64>()) {
        (Ok(a), Ok(b)) => a.total_cmp(&b).is_eq(),
        _ => a == b,
    }
}
