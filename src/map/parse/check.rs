//! What only the points together can get wrong.

use std::collections::{BTreeMap, HashMap};

use super::overlap;
use super::point::{Entry, Points};
use crate::map::model::{Refresh, Role, UnitOf};
use crate::spanned::{Item, SourceFile};

/// Looks at all points together. A file that is no good TOML may lack some of them, so nothing is
/// said about it.
pub(super) fn all(points: &Points<'_>) {
    if points.source().is_none_or(SourceFile::is_broken) {
        return;
    }
    overlap::check(points);
    roles(points);
    for entry in &points.entries {
        references(points, entry);
    }
    columns(points);
}

/// Roles of which a loop may have several.
fn may_repeat(role: Role) -> bool {
    matches!(
        role,
        Role::Alarm
            | Role::AlarmSetpoint
            | Role::Fault
            | Role::HeaterCurrent
            | Role::DecimalPoint
            | Role::Other
    )
}

fn roles(points: &Points<'_>) {
    let mut first: HashMap<Role, &Entry<'_>> = HashMap::new();
    for entry in &points.entries {
        let role = entry.point.role;
        if let Some(earlier) = first.get(&role).filter(|_| !may_repeat(role)) {
            let (word, name) = (role.word(), &earlier.point.name);
            let what = format!("role {word:?} is already taken by point '{name}'");
            note(
                entry,
                "role",
                &what,
                "a loop has one; give the others role = \"other\"",
            );
        }
        first.entry(role).or_insert(entry);
        if role == Role::ProcessValue && entry.point.refresh != Refresh::Trend {
            let help = "leave 'refresh' out: the process value is read at every poll";
            note(
                entry,
                "refresh",
                "the process value is not read at every poll",
                help,
            );
        }
    }
}

/// The points a point names exist and can give what they are named for.
fn references(points: &Points<'_>, entry: &Entry<'_>) {
    let section = &entry.section;
    let confirm = section
        .get("write")
        .filter(|_| entry.point.write.is_some())
        .and_then(|item| item.inner_section()?.get("confirm"));
    let (decimals, unit) = (section.get("decimals_from"), section.get("unit_from"));
    for (item, check) in [
        (decimals, gives_decimals as fn(&Item<'_>, &Entry<'_>)),
        (unit, gives_unit),
        (confirm, needs_reading),
    ] {
        if let Some(item) = item
            && let Some(giver) = points.named(&item)
        {
            check(&item, giver);
        }
    }
}

fn gives_decimals(item: &Item<'_>, giver: &Entry<'_>) {
    needs_reading(item, giver);
    // This also rules out circles.
    if giver.section.has("decimals_from") {
        let name = &giver.point.name;
        let what = format!("point '{name}' takes its own decimals from a point");
        let help = "a number of decimals is a plain whole number: leave it out there";
        item.note_structure(&what, help);
    }
}

fn gives_unit(item: &Item<'_>, giver: &Entry<'_>) {
    needs_reading(item, giver);
    if giver.point.names.is_empty() {
        let name = &giver.point.name;
        let what = format!("point '{name}' has no 'names' to take a unit from");
        let help = "add there names = { \"0\" = \"degC\", \"1\" = \"degF\" }";
        item.note_structure(&what, help);
    }
}

fn needs_reading(item: &Item<'_>, giver: &Entry<'_>) {
    if giver.point.refresh == Refresh::Never {
        let what = format!("point '{}' is never read", giver.point.name);
        item.note_structure(&what, "give it a table and an address to be read from");
    }
}

/// Every column of the recording is there once.
fn columns(points: &Points<'_>) {
    let own = ["time", "elapsed_s", "state"].map(|column| (column.to_owned(), None));
    let mut taken: BTreeMap<String, Option<&Entry<'_>>> = BTreeMap::from(own);
    for entry in &points.entries {
        if entry.point.refresh != Refresh::Trend {
            continue;
        }
        for column in possible_columns(points, entry) {
            match taken.get(&column) {
                Some(by) => note_taken(entry, &column, *by),
                None => {
                    taken.insert(column, Some(entry));
                }
            }
        }
    }
}

fn possible_columns(points: &Points<'_>, entry: &Entry<'_>) -> Vec<String> {
    let mut columns = vec![entry.point.column()];
    if let UnitOf::From(name) = &entry.point.unit
        && let Some(giver) = points.find(name.as_str())
    {
        let units = giver.point.names.values();
        columns.extend(units.map(|unit| entry.point.column_in(Some(unit))));
    }
    columns.sort();
    columns.dedup();
    columns
}

fn note_taken(entry: &Entry<'_>, column: &str, by: Option<&Entry<'_>>) {
    let taken = match by {
        Some(other) => format!("point '{}' has it already", other.point.name),
        None => "every recording has one of its own".to_owned(),
    };
    let what = format!("its column would be called '{column}', and {taken}");
    let name = entry.point.name.as_str();
    let help = format!("give the point another name, for example [points.{name}-2]");
    entry.section.note_structure(&what, &help);
}

fn note(entry: &Entry<'_>, key: &'static str, what: &str, help: &str) {
    match entry.section.get(key) {
        Some(item) => item.note_structure(what, help),
        None => entry.section.note_structure(what, help),
    }
}
