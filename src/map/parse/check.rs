//! What only the points together can get wrong.

use std::collections::{BTreeMap, HashMap};

use super::keys::{Point as Keys, Write};
use super::overlap;
use super::point::{Entry, Points, one_or_more};
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
            let help = "a loop has one; give the others role = \"other\"";
            entry.section.note_at(&Keys::ROLE, &what, help);
        }
        first.entry(role).or_insert(entry);
        if role == Role::ProcessValue && entry.point.refresh != Refresh::Trend {
            let what = "the process value is not read at every poll";
            let help = "leave 'refresh' out: the process value is read at every poll";
            entry.section.note_at(&Keys::REFRESH, what, help);
        }
    }
}

/// The points a point names exist and can give what they are named for.
fn references(points: &Points<'_>, entry: &Entry<'_>) {
    let section = &entry.section;
    let confirm = entry
        .point
        .write
        .as_ref()
        .and_then(|_| section.read(&Keys::WRITE)?.get(&Write::CONFIRM));
    let (decimals, unit) = (
        section.get(&Keys::DECIMALS_FROM),
        section.get(&Keys::UNIT_FROM),
    );
    let faults = section.get(&Keys::FAULT_FROM);
    let faults = faults.as_ref().and_then(one_or_more).unwrap_or_default();
    let named = [
        (decimals, gives_decimals as fn(&Item<'_>, &Entry<'_>)),
        (unit, gives_unit),
        (confirm, needs_reading),
    ];
    let named = named
        .into_iter()
        .filter_map(|(item, check)| Some((item?, check)));
    let faults = faults.into_iter().map(|item| (item, gives_faults as _));
    for (item, check) in named.chain(faults) {
        if let Some(giver) = points.named(&item) {
            check(&item, giver);
        }
    }
}

fn gives_faults(item: &Item<'_>, giver: &Entry<'_>) {
    needs_reading(item, giver);
    let shape = giver.point.shape();
    if shape.is_float() {
        let what = format!("point '{}' is a number, not a status", giver.point.name);
        item.note_structure(
            &what,
            "name the bit or word that says that there is a fault",
        );
    }
    // This also rules out circles.
    if giver.section.has(&Keys::FAULT_FROM) {
        let what = format!("point '{}' has a 'fault_from' itself", giver.point.name);
        item.note_structure(&what, "leave it out there: a status is what it is");
    }
}

fn gives_decimals(item: &Item<'_>, giver: &Entry<'_>) {
    needs_reading(item, giver);
    // This also rules out circles.
    if giver.section.has(&Keys::DECIMALS_FROM) {
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
