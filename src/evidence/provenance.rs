//! The job, and where every number comes from.

use crate::setup::Job;

use super::comparison::{Comparison, Side};
use super::format;
use super::markup::Markup;
use super::table;

/// The job text of the setup.
pub(super) fn write_job(page: &mut Markup, comparison: &Comparison<'_>) {
    let [before, after] = comparison
        .sides()
        .map(|side| side.facts.map(|facts| &facts.job));
    let Some(job) = after.or(before) else {
        return;
    };
    let other = before.filter(|before| *before != job);
    table::section(page, "", "The job", |section| {
        let title = comparison
            .after
            .record
            .controller
            .clone()
            .unwrap_or_default();
        let mut lines = vec![("Controller type", title)];
        lines.extend(job_lines(job));
        lines.rotate_left(1);
        table::facts(section, &lines);
        if let Some(other) = other {
            section.words("p", &[], "The recording of the step before says:");
            table::facts(section, &job_lines(other));
        }
    });
}

fn job_lines(job: &Job) -> Vec<(&'static str, String)> {
    vec![
        ("Equipment", job.equipment.clone()),
        ("Work order", job.work_order.clone()),
        ("Technician", job.technician.clone()),
        ("Controller serial number", job.controller.clone()),
        ("Sensor, calibration due", job.sensor.clone()),
        ("Over-temperature cut-out", job.cutout.clone()),
    ]
}

/// Recordings, rows, and how the numbers were computed.
pub(super) fn write_sources(page: &mut Markup, comparison: &Comparison<'_>) {
    table::section(page, "", "Where the numbers come from", |section| {
        if comparison.is_one_record() {
            let mut lines = source_lines(comparison.before);
            lines.push(("Step before", comparison.before.step_began()));
            lines.push(("Step after", comparison.after.step_began()));
            table::facts(section, &lines);
        } else {
            for (word, side) in [("Before", comparison.before), ("After", comparison.after)] {
                section.words("h3", &[], word);
                let mut lines = source_lines(side);
                lines.push(("Step", side.step_began()));
                table::facts(section, &lines);
            }
        }
        section.words("h3", &[], "How they are computed");
        for text in HOW {
            section.words("p", &[], text);
        }
        let report = concat!(
            "This report was made by Emberline ",
            env!("CARGO_PKG_VERSION"),
            "."
        );
        section.words("p", &[], report);
    });
}

const HOW: [&str; 3] = [
    "From the good samples and the straight lines between them. The step begins with the first \
     sample that carries the new setpoint. Settled means inside the band for at least 10 samples, \
     5 % of the time since the step, and one period of an oscillation; the settling time is when \
     that stay began, interpolated at the band\u{2019}s edge. Integrals follow the trapezoidal \
     rule. A peak is a sample, never interpolated.",
    "Samples that did not come are not invented: integrals bridge them with a straight line, the \
     missing time is counted, and a peak may hide in them.",
    "The pictures keep the first, last, lowest and highest sample of every pixel column, so no \
     peak is lost in them.",
];

fn source_lines(side: Side<'_>) -> Vec<(&'static str, String)> {
    let record = side.record;
    let began = record.wall.as_ref().map(|wall| wall.began);
    let began = began.or(side.facts.map(|facts| facts.began));
    let mut lines = vec![
        ("Source", side.source.to_owned()),
        ("Loop", record.name.clone()),
        (
            "Began",
            began.map_or_else(|| "not known".to_owned(), format::moment),
        ),
        ("Rows", rows_text(side)),
    ];
    if let Some(facts) = side.facts {
        let ended = facts.ended.map_or_else(
            || "not closed in order, or still running".to_owned(),
            format::moment,
        );
        lines.insert(3, ("Ended", ended));
        lines.push(("Recorded by", format!("Emberline {}", facts.program)));
    }
    lines
}

fn rows_text(side: Side<'_>) -> String {
    let record = side.record;
    let rows = format::fixed(record.rows as f64, 0);
    if record.bad_rows.is_empty() {
        return format!("{rows}, all good");
    }
    let bad: Vec<String> = record
        .bad_rows
        .iter()
        .map(|(state, count)| format!("{} {state}", format::fixed(*count as f64, 0)))
        .collect();
    format!("{rows}, of which {}", bad.join(", "))
}
