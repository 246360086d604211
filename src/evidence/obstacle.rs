//! Why two steps are not the same test, as far as the records tell.

use crate::analysis::{Note, compare_steps};

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
    let checks: [fn(&Comparison<'_>) -> Option<Note>; 4] = [numbers, equipment, unit, window];
    let mut found: Vec<Note> = checks
        .iter()
        .filter_map(|check| check(comparison))
        .collect();
    found.extend(samples(comparison));
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

/// What the samples themselves tell: start, target and band.
fn samples(comparison: &Comparison<'_>) -> impl Iterator<Item = Note> {
    told(comparison)
        .into_iter()
        .filter(|note| !is_output_limit(note))
}

/// An output limit that seems to differ, going by the samples alone. A hint and no obstacle: an
/// output that stays while the process value moves can have been held there by hand.
pub(super) fn output_limit_hint(comparison: &Comparison<'_>) -> Option<String> {
    let known = |side: Side<'_>| side.setting("output-high").is_some();
    if comparison.sides().into_iter().all(known) {
        return None;
    }
    let note = told(comparison).into_iter().find(is_output_limit)?;
    Some(format!(
        "going by the output alone, {}, in %: see that the limits at the controller are the same",
        note.text
    ))
}

fn is_output_limit(note: &Note) -> bool {
    note.about.is_empty()
}

fn told(comparison: &Comparison<'_>) -> Vec<Note> {
    let [before, after] = comparison.sides();
    let found = compare_steps(
        (&before.record.trace(), before.episode),
        (&after.record.trace(), after.episode),
    );
    let degree = format::unit_sign(comparison.unit());
    let with_unit = |mut note: Note| {
        let in_degrees = matches!(note.about, "to" | "initial" | "settling_band");
        if in_degrees && !degree.is_empty() {
            note.text = format!("{}, in {degree}", note.text);
        }
        note
    };
    found.not_comparable.into_iter().map(with_unit).collect()
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

fn settings(comparison: &Comparison<'_>) -> impl Iterator<Item = Note> {
    MUST_AGREE.iter().filter_map(move |(role, words)| {
        let [before, after] = comparison.sides().map(|side| side.setting(role));
        let (before, after) = (before?, after?);
        let known = !before.value.is_empty() && !after.value.is_empty();
        (known && !same_value(&before.value, &after.value)).then(|| {
            let [before, after] = [before, after].map(format::setting);
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
