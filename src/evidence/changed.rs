//! What differs at the controller between the two steps.

use crate::record::RecordedSetting;
use crate::sample::Happening;

use super::comparison::Comparison;
use super::format;
use super::markup::Markup;
use super::obstacle::same_value;
use super::table;

/// Roles that are read with the settings but move by themselves, or may.
const STATES: [&str; 12] = [
    "",
    "other",
    "process-value",
    "setpoint",
    "working-setpoint",
    "output",
    "cooling-output",
    "manual-output",
    "autotune-active",
    "autotune-command",
    "alarm",
    "heater-current",
];

/// One setting in both steps.
struct Pair<'a> {
    before: Option<&'a RecordedSetting>,
    after: Option<&'a RecordedSetting>,
}

/// The tuning, changed or not, and every other setting that changed.
pub(super) fn write(page: &mut Markup, comparison: &Comparison<'_>) {
    let pairs = pairs(comparison);
    let heading = "What was changed at the controller";
    table::section(page, "changed", heading, |section| {
        if pairs.is_empty() {
            write_by_hand(section);
        } else {
            write_changes(section, comparison, &pairs);
        }
    });
}

fn write_by_hand(section: &mut Markup) {
    let text = "The records hold no settings of the controller: write down here what was changed.";
    section.words("p", &[], text);
    section.words("p", &[("class", &"line")], "");
}

fn write_changes(section: &mut Markup, comparison: &Comparison<'_>, pairs: &[Pair<'_>]) {
    for sentence in sentences(comparison, pairs) {
        section.words("p", &[], &sentence);
    }
    let shown: Vec<&Pair<'_>> = pairs
        .iter()
        .filter(|pair| pair.is_tuning() || pair.is_changed_setting())
        .collect();
    if !shown.is_empty() {
        write_pairs(section, &shown);
    }
    if let Some(others) = other_differences(pairs) {
        section.words("p", &[("class", &"small")], &others);
    }
}

/// Every setting, for the doubter.
pub(super) fn write_all(page: &mut Markup, comparison: &Comparison<'_>) {
    let pairs = pairs(comparison);
    if pairs.is_empty() {
        return;
    }
    table::section(page, "", "All settings that were read", |section| {
        write_pairs(section, &pairs.iter().collect::<Vec<_>>());
        section.words(
            "p",
            &[("class", &"small")],
            "As the controller reported them, in force when each step began.",
        );
    });
}

fn pairs<'a>(comparison: &Comparison<'a>) -> Vec<Pair<'a>> {
    let [before, after] = comparison.sides().map(|side| side.settings());
    let mut pairs: Vec<Pair<'_>> = after
        .iter()
        .map(|line| Pair {
            before: before
                .iter()
                .copied()
                .find(|other| other.point == line.point),
            after: Some(*line),
        })
        .collect();
    let gone = before
        .iter()
        .filter(|line| after.iter().all(|other| other.point != line.point))
        .map(|line| Pair {
            before: Some(*line),
            after: None,
        });
    pairs.extend(gone);
    pairs.sort_by_key(Pair::rank);
    pairs
}

fn sentences(comparison: &Comparison<'_>, pairs: &[Pair<'_>]) -> Vec<String> {
    let mut found: Vec<String> = autotune_between(comparison).into_iter().collect();
    if !pairs.iter().any(Pair::is_changed_setting) {
        found.push("No setting that was read differs between the two steps.".to_owned());
    }
    found
}

/// Values that differ but tell a state rather than a setting, by name.
fn other_differences(pairs: &[Pair<'_>]) -> Option<String> {
    let names: Vec<&str> = pairs
        .iter()
        .filter(|pair| pair.differs() && !pair.is_setting())
        .filter_map(Pair::either)
        .map(|line| line.point.as_str())
        .collect();
    (!names.is_empty()).then(|| {
        format!(
            "Also different, and listed with all settings below: {}.",
            format::list(&names)
        )
    })
}

/// The autotune that ended between the two steps of one record.
fn autotune_between(comparison: &Comparison<'_>) -> Option<String> {
    if !comparison.is_one_record() {
        return None;
    }
    let between = comparison.before.episode.start_s..comparison.after.episode.start_s;
    let (ended, result) = comparison
        .after
        .record
        .events
        .iter()
        .rev()
        .filter(|event| between.contains(&event.time_s))
        .find_map(|event| Some((event.time_s, autotune_result(event.what?)?)))?;
    Some(format!(
        "Between the two steps the controller tuned itself; at {} {result}.",
        comparison.after.moment(ended)
    ))
}

fn autotune_result(what: Happening) -> Option<&'static str> {
    match what {
        Happening::AutotuneTuned => Some("it had tuned"),
        Happening::AutotuneUnchanged => Some("it ended with its tuning unchanged"),
        Happening::AutotuneUnknown => {
            Some("it ended, and whether it tuned cannot be known from this map")
        }
        _ => None,
    }
}

fn write_pairs(section: &mut Markup, pairs: &[&Pair<'_>]) {
    let heads = ["", "Before", "After", ""];
    table::table(section, "figures", &heads, |rows| {
        for pair in pairs {
            pair.write(rows);
        }
    });
}

impl<'a> Pair<'a> {
    fn either(&self) -> Option<&'a RecordedSetting> {
        self.after.or(self.before)
    }

    fn role(&self) -> &str {
        self.either().map_or("", |line| line.role.as_str())
    }

    /// Whether it is something a person sets; the rest are states that move by themselves, and
    /// points whose role the map does not tell.
    fn is_setting(&self) -> bool {
        !STATES.contains(&self.role())
    }

    fn is_changed_setting(&self) -> bool {
        self.is_setting() && self.differs()
    }

    fn is_tuning(&self) -> bool {
        self.rank() < 3
    }

    /// The three numbers of the tuning first, then the recording's order.
    fn rank(&self) -> usize {
        ["proportional", "integral", "derivative"]
            .iter()
            .position(|role| *role == self.role())
            .unwrap_or(3)
    }

    fn differs(&self) -> bool {
        match (self.before, self.after) {
            (Some(before), Some(after)) => {
                !same_value(&before.value, &after.value) || before.unit != after.unit
            }
            _ => true,
        }
    }

    /// The unit both sides share, to stand once beside the name; empty when they do not.
    fn common_unit(&self) -> &str {
        match (self.before, self.after) {
            (Some(before), Some(after)) if before.unit != after.unit => "",
            _ => self
                .either()
                .map_or("", |line| format::unit_sign(&line.unit)),
        }
    }

    fn write(&self, rows: &mut Markup) {
        let point = self.either().map_or("", |line| line.point.as_str());
        let (name, small) = match self.role() {
            "" | "other" => (point.to_owned(), ""),
            role => (format::sentence(&role.replace('-', " ")), point),
        };
        let unit = self.common_unit();
        let name = if unit.is_empty() {
            name
        } else {
            format!("{name}, {unit}")
        };
        table::row(rows, &name, small, |row| {
            for line in [self.before, self.after] {
                write_value(row, line, unit.is_empty());
            }
            table::cell(row, if self.differs() { "changed" } else { "" });
        });
    }
}

fn write_value(row: &mut Markup, line: Option<&RecordedSetting>, with_unit: bool) {
    let Some(line) = line.filter(|line| !line.value.is_empty()) else {
        row.words("td", &[("class", &"n")], "not read");
        return;
    };
    if line.meaning.is_some() {
        row.words("td", &[("class", &"n")], &format::setting(line));
        return;
    }
    row.tag("td", &[("class", &"n")], |td| {
        table::number_words(td, &format::as_written(&line.value));
        let unit = format::unit_sign(&line.unit);
        if with_unit && !unit.is_empty() {
            td.text("\u{202f}");
            td.text(unit);
        }
    });
}
