//! The first page: which oven, what came of it, and the three numbers that changed.

use std::fmt::Write as _;

use super::comparison::{Comparison, Side};
use super::criteria::{Measure, Outcome};
use super::format;
use super::markup::Markup;
use super::plot::StepPicture;
use super::table;
use super::verdict::{Change, Direction, Judgement, Verdict};

/// The title of the document.
pub(super) fn title(comparison: &Comparison<'_>) -> String {
    format!("{}: step before and after", comparison.equipment())
}

/// Which oven and what came of it.
pub(super) fn write(page: &mut Markup, comparison: &Comparison<'_>, judgement: &Judgement) {
    page.tag("header", &[], |header| {
        header.words("p", &[("class", &"kicker")], &kicker(comparison));
        let name = comparison.equipment();
        let class = if name.chars().count() > 40 {
            "long"
        } else {
            "short"
        };
        header.words("h1", &[("class", &class)], name);
        header.line();
        let occasion = occasion(comparison);
        if !occasion.is_empty() {
            header.words("p", &[("class", &"kicker")], &occasion);
            header.line();
        }
        let class = verdict_class(judgement.verdict);
        header.tag("p", &[("class", &format!("verdict {class}"))], |line| {
            line.words("strong", &[], judgement.verdict.words());
            line.text(" ");
            line.words("span", &[], &judgement.reason());
        });
        header.line();
        if !judgement.obstacles.is_empty() {
            header.tag("ul", &[("class", &"obstacles")], |list| {
                for obstacle in &judgement.obstacles {
                    list.words("li", &[], &format!("{}.", format::sentence(&obstacle.text)));
                }
            });
        }
    });
    page.line();
}

/// When the step after was made, and for whom, as far as the recording says.
fn occasion(comparison: &Comparison<'_>) -> String {
    let after = comparison.after;
    let day = after.record.wall_time(after.episode.start_s);
    let day = day.map(|time| time.format("%Y-%m-%d").to_string());
    let job = after.facts.map(|facts| &facts.job);
    let named = |what: &str, value: Option<&String>| {
        let value = value.filter(|value| !value.trim().is_empty())?;
        Some(format!("{what} {value}"))
    };
    let parts = [
        day,
        named("work order", job.map(|job| &job.work_order)),
        named("technician", job.map(|job| &job.technician)),
    ];
    parts.into_iter().flatten().collect::<Vec<_>>().join(", ")
}

fn kicker(comparison: &Comparison<'_>) -> String {
    let unit = format::unit_sign(comparison.unit());
    let episode = comparison.after.episode;
    let step = match (episode.from, episode.to) {
        (Some(from), Some(to)) => {
            let decimals = format::decimals_of(&[from, to]);
            let (from, to) = (
                format::fixed(from, decimals),
                format::quantity(to, decimals, unit),
            );
            format!("Setpoint step {from} to {to}, before and after")
        }
        _ => "Step before and after".to_owned(),
    };
    let name = &comparison.after.record.name;
    if name == comparison.equipment() {
        step
    } else {
        format!("{step}: loop {name}")
    }
}

fn verdict_class(verdict: Verdict) -> &'static str {
    match verdict {
        Verdict::Pass | Verdict::Improved => "good",
        Verdict::Fail | Verdict::NotImproved => "bad",
        Verdict::Mixed | Verdict::NoVerdict => "open",
    }
}

/// What the picture shows.
pub(super) fn write_caption(
    figure: &mut Markup,
    comparison: &Comparison<'_>,
    picture: &StepPicture<'_>,
) {
    let ends_s = picture.ends_s();
    let mut text = String::from("Shaded: the band that counts as settled.");
    if picture.has_gaps() {
        text.push_str(" Grey: no samples came.");
    }
    let window = comparison.after.episode.numbers.window_s;
    if let Some(window) = window.filter(|window| *window > 1.01 * ends_s) {
        let _ = write!(
            text,
            " Shown are the first {}; the numbers look at {}.",
            format::about(ends_s),
            format::about(window)
        );
    }
    figure.words("figcaption", &[], &text);
}

/// The three numbers.
pub(super) fn write_numbers(page: &mut Markup, comparison: &Comparison<'_>, judgement: &Judgement) {
    page.tag("div", &[("class", &"three")], |three| {
        for change in &judgement.changes {
            let compared = judgement.obstacles.is_empty();
            write_number(three, comparison, change, compared);
            three.line();
        }
    });
    page.line();
}

fn write_number(three: &mut Markup, comparison: &Comparison<'_>, change: &Change, compared: bool) {
    let reading = Reading::new(comparison, change);
    three.tag("div", &[], |card| {
        card.tag("h2", &[], |head| {
            head.text(&format::sentence(change.measure.words()));
            head.words("small", &[], &meaning(comparison, change.measure));
        });
        card.tag("p", &[("class", &"was")], |line| {
            line.text("before ");
            line.words("b", &[], &reading.text(change.before, comparison.before));
        });
        card.tag("p", &[("class", &"is")], |line| {
            line.words("span", &[("class", &"tag")], "after ");
            line.words("b", &[], &reading.text(change.after, comparison.after));
        });
        if compared {
            card.words("p", &[("class", &"way")], &reading.difference(change));
        }
    });
}

/// What a number of the first page means, in a few words.
fn meaning(comparison: &Comparison<'_>, measure: Measure) -> String {
    let unit = format::unit_sign(comparison.unit());
    match measure {
        Measure::Overshoot => "farthest past the target until settled".to_owned(),
        Measure::Settling => match comparison.after.episode.numbers.settling_band {
            Some(band) => {
                let band = format::quantity(band, format::decimals_of(&[band]), unit);
                format!("into \u{b1}{band}, to stay")
            }
            None => "into the band, to stay".to_owned(),
        },
        _ => "accumulated absolute error".to_owned(),
    }
}

/// How a number of the first page is written.
struct Reading {
    measure: Measure,
    decimals: usize,
    unit: String,
    /// What one of the unit is in the number's own unit.
    per: f64,
}

impl Reading {
    fn new(comparison: &Comparison<'_>, change: &Change) -> Self {
        let degree = format::unit_sign(comparison.unit());
        let largest = [change.before, change.after]
            .into_iter()
            .flatten()
            .fold(0.0, f64::max);
        let (decimals, unit, per) = match change.measure {
            Measure::Settling | Measure::Rise if largest < 120.0 => (0, "s".to_owned(), 1.0),
            Measure::Settling | Measure::Rise => (1, "min".to_owned(), 60.0),
            Measure::Iae => (
                usize::from(largest < 100.0),
                integral_unit(degree, "", "s"),
                1.0,
            ),
            Measure::OvershootPercent => (1, "%".to_owned(), 1.0),
            Measure::Overshoot | Measure::FinalError => {
                let decimals = format::decimals_of(&comparison.after.record.pv);
                (decimals, degree.to_owned(), 1.0)
            }
        };
        Self {
            measure: change.measure,
            decimals,
            unit,
            per,
        }
    }

    fn text(&self, value: Option<f64>, side: Side<'_>) -> String {
        match value {
            Some(value) => format::quantity(value / self.per, self.decimals, &self.unit),
            None if self.measure == Measure::Settling => not_reached(side),
            None => "not known".to_owned(),
        }
    }

    fn difference(&self, change: &Change) -> String {
        let words = match change.direction {
            Direction::Better => "better",
            Direction::Worse => "worse",
            Direction::Same => "about the same",
            Direction::Unknown => "cannot be compared",
        };
        match (change.before, change.after) {
            (Some(before), Some(after)) if change.direction != Direction::Same => {
                let by = format::difference(before / self.per, after / self.per, self.decimals);
                let by = format::quantity(by.abs(), self.decimals, &self.unit);
                let way = if after < before { "less" } else { "more" };
                format!("{by} {way}: {words}")
            }
            _ => words.to_owned(),
        }
    }
}

/// What stands for a settling time that is not there.
pub(super) fn not_reached(side: Side<'_>) -> String {
    if !side.has_numbers() {
        return "not known".to_owned();
    }
    let length = side.episode.end_s - side.episode.start_s;
    format!("not reached within {}", format::about(length))
}

/// Degrees times time; `power` is that of the degree.
pub(super) fn integral_unit(degree: &str, power: &str, time: &str) -> String {
    let degree = if degree.is_empty() { "degree" } else { degree };
    format!("{degree}{power}\u{b7}{time}")
}

/// Each criterion with what was measured.
pub(super) fn write_criteria(
    page: &mut Markup,
    comparison: &Comparison<'_>,
    judgement: &Judgement,
) {
    let Some(criteria) = comparison.criteria else {
        return;
    };
    let heading = if criteria.name.is_empty() {
        "Criteria for the step after".to_owned()
    } else {
        format!("Criteria for the step after, from {}", criteria.name)
    };
    table::section(page, "criteria", &heading, |section| {
        let heads = ["", "Required", "Measured", "Result"];
        table::table(section, "figures", &heads, |rows| {
            for outcome in &judgement.outcomes {
                write_outcome(rows, comparison, outcome);
            }
        });
    });
}

fn write_outcome(rows: &mut Markup, comparison: &Comparison<'_>, outcome: &Outcome) {
    let change = Change {
        measure: outcome.limit.measure,
        before: Some(outcome.limit.most),
        after: outcome.measured,
        direction: Direction::Unknown,
    };
    let reading = Reading::new(comparison, &change);
    let name = format::sentence(outcome.limit.measure.words());
    table::row(rows, &name, "", |row| {
        let most = reading.text(Some(outcome.limit.most), comparison.after);
        row.words("td", &[("class", &"n")], &format!("at most {most}"));
        let measured = reading.text(outcome.measured, comparison.after);
        row.words("td", &[("class", &"n")], &measured);
        let (class, word) = match outcome {
            Outcome { met: true, .. } => ("n good", "\u{2713} met"),
            Outcome {
                lower_bound: true, ..
            } => (
                "bad",
                "\u{2717} not shown: the peak may lie in missing samples",
            ),
            _ => ("n bad", "\u{2717} not met"),
        };
        row.words("td", &[("class", &class)], word);
    });
}
