//! What happened when, over the whole record.

use crate::record::RecordedEvent;
use crate::sample::Happening;

use super::comparison::{Comparison, Side};
use super::format;
use super::markup::Markup;
use super::plot::{Overview, overview};
use super::table;

/// Most events a table shows; a week on a bad line has thousands.
const MOST: usize = 60;

/// The overview and the events of each record.
pub(super) fn write(page: &mut Markup, comparison: &Comparison<'_>) {
    table::section(page, "timeline", "What happened when", |section| {
        if comparison.is_one_record() {
            let steps = [("before", comparison.before), ("after", comparison.after)];
            write_record(section, "whole", comparison.after, &steps);
        } else {
            section.words("h3", &[], "Before");
            let before = comparison.before;
            write_record(section, "whole-before", before, &[("before", before)]);
            section.words("h3", &[], "After");
            let after = comparison.after;
            write_record(section, "whole-after", after, &[("after", after)]);
        }
    });
}

fn write_record(page: &mut Markup, key: &str, side: Side<'_>, steps: &[(&str, Side<'_>)]) {
    let stretches: Vec<(&str, f64, f64)> = steps
        .iter()
        .map(|(word, side)| (*word, side.episode.start_s, side.episode.end_s))
        .collect();
    let (events, left_out) = chosen(&side.record.events);
    let numbered: Vec<(usize, f64)> = events
        .iter()
        .enumerate()
        .map(|(place, event)| (place + 1, event.time_s))
        .collect();
    if side.record.time_s.is_empty() {
        page.words("p", &[("class", &"empty")], "The record holds no samples.");
    } else {
        page.tag("figure", &[], |figure| {
            overview(
                figure,
                &Overview {
                    key,
                    record: side.record,
                    steps: &stretches,
                    events: &numbered,
                },
            );
        });
    }
    write_events(page, side, &events, left_out);
}

fn write_events(page: &mut Markup, side: Side<'_>, events: &[&RecordedEvent], left_out: usize) {
    if events.is_empty() {
        page.words("p", &[], "No events were recorded.");
        return;
    }
    table::table(page, "events", &["", "Time", "Event"], |rows| {
        for (place, event) in events.iter().enumerate() {
            table::row(rows, &(place + 1).to_string(), "", |row| {
                table::cell(row, &side.moment(event.time_s));
                table::cell(row, &event.text);
            });
        }
    });
    if left_out > 0 {
        let count = format::fixed(left_out as f64, 0);
        let text = format!(
            "{count} more events of lost and regained answers and faults are in the recording."
        );
        page.words("p", &[("class", &"small")], &text);
    }
}

/// The events to show, in order, and how many are left out: line troubles first, then the latest.
fn chosen(events: &[RecordedEvent]) -> (Vec<&RecordedEvent>, usize) {
    let mut kept: Vec<&RecordedEvent> = events.iter().collect();
    if kept.len() > MOST {
        kept.retain(|event| !event.what.is_some_and(is_line_trouble));
    }
    kept.truncate(MOST);
    let left_out = events.len() - kept.len();
    (kept, left_out)
}

fn is_line_trouble(what: Happening) -> bool {
    matches!(
        what,
        Happening::AnswersLost
            | Happening::AnswersBack
            | Happening::ClockStep
            | Happening::Suspended
            | Happening::PortLost
            | Happening::PortBack
            | Happening::FaultBegan
            | Happening::FaultEnded
    )
}
