//! Points that cannot both be right about the same registers.

use std::collections::HashMap;

use super::keys::Point as Keys;
use super::point::{Entry, Points};
use crate::map::Table;
use crate::map::model::{Bits, Place, Point, Refresh};

/// Notes each point that stands on the same registers as an earlier one: in part, or with the
/// same bits. Parts of one word with different bits are fine, and so is a word beside its parts.
pub(super) fn check(points: &Points<'_>) {
    let read = || {
        points
            .entries
            .iter()
            .filter(|entry| entry.point.refresh != Refresh::Never)
    };
    let mut seen: HashMap<(Place, Option<Bits>), &Entry<'_>> = HashMap::new();
    for entry in read() {
        let key = (entry.point.place, entry.point.bits);
        match seen.get(&key) {
            Some(earlier) => note_twice(entry, earlier),
            None => {
                seen.insert(key, entry);
            }
        }
    }
    let mut by_place: Vec<&Entry<'_>> = read().collect();
    by_place.sort_by_key(|entry| entry.point.place);
    check_partial(&by_place);
}

/// Walks the places in order with the one that reaches farthest so far.
fn check_partial(by_place: &[&Entry<'_>]) {
    let mut farthest: Option<&Entry<'_>> = None;
    for entry in by_place {
        let place = entry.point.place;
        match farthest {
            Some(other) if other.point.place == place => {}
            Some(other) if other.point.place.overlaps(&place) => {
                let (first, second) = in_file_order(entry, other);
                note_partial(second, first);
            }
            _ => {}
        }
        let reaches_farther = farthest.is_none_or(|other| {
            let reached = other.point.place;
            reached.table != place.table || reached.end() < place.end()
        });
        if reaches_farther {
            farthest = Some(entry);
        }
    }
}

fn in_file_order<'e, 'a>(a: &'e Entry<'a>, b: &'e Entry<'a>) -> (&'e Entry<'a>, &'e Entry<'a>) {
    if a.item.key_span().start <= b.item.key_span().start {
        (a, b)
    } else {
        (b, a)
    }
}

fn note_twice(entry: &Entry<'_>, earlier: &Entry<'_>) {
    let (place, other) = (described(&entry.point), &earlier.point.name);
    let what = format!("{place} is already point '{other}'");
    let help = if entry.point.place.table.is_bits() {
        "check the addresses; one bit is one point"
    } else {
        "check the addresses; parts of one word each need their own 'bit' or 'bits'"
    };
    entry.section.note_at(&Keys::ADDRESS, &what, help);
}

fn note_partial(entry: &Entry<'_>, other: &Entry<'_>) {
    let (place, theirs) = (described(&entry.point), described(&other.point));
    let what = format!(
        "{place} overlaps point '{}', which is {theirs}",
        other.point.name
    );
    let help =
        "a 32-bit value takes two registers, a 64-bit value four: check addresses and encodings";
    entry.section.note_at(&Keys::ADDRESS, &what, help);
}

/// A point's registers, numbered as they go over the wire.
fn described(point: &Point) -> String {
    let Place {
        table,
        address,
        count,
    } = point.place;
    let first = address.0;
    let last = u32::from(first) + u32::from(count) - 1;
    let which = match table {
        Table::Coil => "coil",
        Table::Discrete => "discrete input",
        Table::Input => "input register",
        Table::Holding => "holding register",
    };
    let part = match point.bits {
        Some(Bits { lowest, count: 1 }) => format!(" bit {lowest}"),
        Some(Bits { lowest, count }) => format!(" bits {lowest}..{}", lowest + count - 1),
        None => String::new(),
    };
    match count {
        1 => format!("{which} {first}{part}"),
        _ => format!("{which}s {first}..={last}{part}"),
    }
}
