//! What must be known to trust the numbers.

use crate::sample::Happening;

use super::comparison::{Comparison, Side};
use super::format;
use super::markup::Markup;
use super::obstacle;
use super::table;
use super::verdict::Judgement;

/// Notes of the comparison and of both steps, each once.
pub(super) fn write(page: &mut Markup, comparison: &Comparison<'_>, judgement: &Judgement) {
    let lines = lines(comparison, judgement);
    table::section(
        page,
        "remarks",
        "What to know before trusting this",
        |section| {
            section.tag("ul", &[], |list| {
                for (who, text) in &lines {
                    list.tag("li", &[], |item| {
                        if !who.is_empty() {
                            item.words("b", &[], &format!("{who}: "));
                        }
                        item.text(&format::sentence(text));
                    });
                    list.line();
                }
            });
        },
    );
}

fn lines(comparison: &Comparison<'_>, judgement: &Judgement) -> Vec<(&'static str, String)> {
    let mut found: Vec<(&str, String)> = judgement
        .obstacles
        .iter()
        .map(|note| ("Not comparable", format!("{}.", note.text)))
        .collect();
    let [before, after] = comparison.sides();
    for (who, side) in [("Before", before), ("After", after)] {
        let notes = side.episode.notes.iter();
        let texts = notes.filter(|note| !note.is_of_nothing()).map(|note| {
            let text = note.text.trim_end_matches('.');
            format!("{text}.")
        });
        for text in texts.chain(marks_within(side)) {
            let line = (who, text);
            // One sentence may be about several numbers.
            if !found.contains(&line) {
                found.push(line);
            }
        }
    }
    let hint = obstacle::output_limit_hint(comparison);
    found.extend(hint.map(|hint| ("", format!("{hint}."))));
    found.push((
        "",
        "One run each. The difference is what these two runs show; how much runs of this \
         equipment differ by themselves is not known from one of each."
            .to_owned(),
    ));
    found.push((
        "",
        "Load, door and supply voltage leave no trace that a controller reports: whoever signs \
         confirms that they were the same in both steps."
            .to_owned(),
    ));
    found
}

/// What people wrote, and what went wrong, while the numbers were taken.
fn marks_within(side: Side<'_>) -> impl Iterator<Item = String> {
    let episode = side.episode;
    let window = episode.numbers.window_s;
    let end = window.map_or(episode.end_s, |window| episode.start_s + window);
    side.record
        .events
        .iter()
        .filter(move |event| event.time_s > episode.start_s && event.time_s < end)
        .filter(|event| event.what.is_none_or(tells))
        .map(move |event| {
            let when = format::span(event.time_s - episode.start_s);
            format!(
                "{when} after the step: {}.",
                event.text.trim_end_matches('.')
            )
        })
}

fn tells(what: Happening) -> bool {
    matches!(
        what,
        Happening::Mark
            | Happening::SettingsChanged
            | Happening::FaultBegan
            | Happening::AnswersLost
            | Happening::ClockStep
            | Happening::Suspended
            | Happening::PortLost
            | Happening::AutotuneBegan
    )
}
