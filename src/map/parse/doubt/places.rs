//! Addresses that may be counted otherwise than the map says, and registers that two points share.

use std::collections::BTreeMap;

use super::{Doubts, Entry};
use crate::map::model::{Bits, Place, Refresh, Table};
use crate::map::parse::address::Numbering;
use crate::map::parse::keys::Point as Keys;

/// Registers of the longest encoding.
const LONGEST: u16 = 4;
/// So few points may well stand anywhere.
const ENOUGH_POINTS: usize = 3;

pub(super) fn look(doubts: &Doubts<'_, '_>) {
    match doubts.numbering {
        Numbering::ZeroBased => {
            references(doubts);
            from_one(doubts);
        }
        Numbering::OneBased => references(doubts),
        Numbering::Reference => {}
    }
    shared_bits(doubts);
    written(doubts);
}

/// Whether every address looks like a reference of five digits.
fn references(doubts: &Doubts<'_, '_>) {
    let looks_so = |entry: &Entry<'_>| {
        let digit = entry.point.place.address.0 / 10_000;
        match entry.point.place.table {
            Table::Coil => false,
            Table::Discrete => digit == 1,
            Table::Input => digit == 3,
            Table::Holding => digit == 4,
        }
    };
    let entries = &doubts.points.entries;
    if let Some(first) = entries.iter().find(|entry| looks_so(entry))
        && entries.iter().all(looks_so)
    {
        let what = "the addresses look like references, in which 40001 is holding register 0";
        let help = "say addresses = \"reference\" in [access] if the register table counts so";
        first.say(&Keys::ADDRESS, "looks-like-references", what, help);
    }
}

/// Whether the lowest address is 1, as in a table that counts from one.
fn from_one(doubts: &Doubts<'_, '_>) {
    let entries = &doubts.points.entries;
    let lowest = entries.iter().min_by_key(|entry| entry.point.place.address);
    if let Some(lowest) = lowest
        && lowest.point.place.address.0 == 1
        && entries.len() >= ENOUGH_POINTS
    {
        let what = "the lowest address is 1, and nothing stands at 0";
        let help = "if the register table counts from 1, say addresses = \"one-based\" in \
                    [access]: or every point is read one register too far";
        lowest.say(&Keys::ADDRESS, "counts-from-one", what, help);
    }
}

/// Parts of one word that share some of their bits.
fn shared_bits(doubts: &Doubts<'_, '_>) {
    let mut parts: BTreeMap<Place, Vec<(Bits, &Entry<'_>)>> = BTreeMap::new();
    for entry in &doubts.points.entries {
        let Some(bits) = entry
            .point
            .bits
            .filter(|_| entry.point.refresh != Refresh::Never)
        else {
            continue;
        };
        let others = parts.entry(entry.point.place).or_default();
        let shared = others.iter().find(|(other, _)| overlap(bits, *other));
        if let Some((_, other)) = shared {
            let what = format!("it shares bits with point '{}'", other.point.name);
            entry.say(
                &Keys::ADDRESS,
                "shared-bits",
                what,
                "check which bits each one is",
            );
        }
        others.push((bits, entry));
    }
}

fn overlap(one: Bits, other: Bits) -> bool {
    let end = |bits: Bits| u16::from(bits.lowest) + u16::from(bits.count);
    u16::from(one.lowest) < end(other) && u16::from(other.lowest) < end(one)
}

/// Points that are written where another is read. A command may stand on the very register that
/// shows its status.
fn written(doubts: &Doubts<'_, '_>) {
    let entries = &doubts.points.entries;
    let read = |entry: &&Entry<'_>| entry.point.refresh != Refresh::Never;
    let mut in_order: Vec<&Entry<'_>> = entries.iter().filter(read).collect();
    in_order.sort_by_key(|entry| entry.point.place);
    for entry in entries {
        let Some(write) = &entry.point.write else {
            continue;
        };
        let is_own = |other: &Place| match entry.point.refresh {
            Refresh::Never => *other == write.place,
            Refresh::Trend | Refresh::Settings => *other == entry.point.place,
        };
        let other = near(&in_order, write.place)
            .find(|other| other.point.place.overlaps(&write.place) && !is_own(&other.point.place));
        if let Some(other) = other {
            let what = format!("it is written where point '{}' is read", other.point.name);
            let help = "check the address in 'write'";
            entry.say(&Keys::WRITE, "written-elsewhere", what, help);
        }
    }
}

/// Those of the entries, which are in order, that may reach into a place.
fn near<'e, 'a>(
    in_order: &'e [&'e Entry<'a>],
    place: Place,
) -> impl Iterator<Item = &'e Entry<'a>> {
    let from = (place.table, place.address.0.saturating_sub(LONGEST));
    let begin = |entry: &Entry<'_>| (entry.point.place.table, entry.point.place.address.0);
    let first = in_order.partition_point(|entry| begin(entry) < from);
    in_order[first..].iter().copied().take_while(move |entry| {
        begin(entry) <= (place.table, place.address.0.saturating_add(place.count))
    })
}
