//! What may be written to a point, where and how.

use std::collections::BTreeMap;

use super::address::{self, Numbering};
use super::keys::{Point as Keys, Writable, Write};
use super::layout::Layout;
use crate::map::model::{Address, Place, Table, WriteTo, WriteWith};
use crate::name::Name;
use crate::spanned::{Item, Section};

/// `write = { .. }` as far as it can be read without knowing the point's own place.
pub(super) struct WriteKeys<'a> {
    section: Section<'a>,
    pub(super) spot: Option<(Table, Address)>,
    with: Option<WriteWith>,
    values: Vec<(Item<'a>, i64)>,
    confirm: Option<Name>,
}

/// Reads `write`, if the point has it.
pub(super) fn keys<'a>(section: &Section<'a>, numbering: Numbering) -> Option<WriteKeys<'a>> {
    let inner = section.read(&Keys::WRITE)?;
    let names_place = inner.has(&Write::ADDRESS) || inner.has(&Write::TABLE);
    let spot = || address::read(&inner, numbering, Some(Table::Holding));
    let values = inner.read(&Write::VALUES).unwrap_or_default();
    let keys = WriteKeys {
        spot: names_place.then(spot).flatten(),
        with: inner.read(&Write::WITH),
        values: values
            .into_iter()
            .filter_map(|(item, value)| Some((item, value?)))
            .collect(),
        confirm: inner.read(&Write::CONFIRM),
        section: inner,
    };
    keys.section.finish();
    Some(keys)
}

impl WriteKeys<'_> {
    /// Where and how the point is written.
    pub(super) fn resolve(self, layout: Layout) -> Option<WriteTo> {
        let (table, address) = self
            .spot
            .unwrap_or((layout.place.table, layout.place.address));
        let place = Place {
            table,
            address,
            count: layout.place.count,
        };
        if !self.is_possible(place, layout) {
            return None;
        }
        self.check_values(layout);
        let usual = match place.count {
            1 => WriteWith::Single,
            _ => WriteWith::Multiple,
        };
        Some(WriteTo {
            place,
            with: self.with.unwrap_or(usual),
            values: self.named_values(),
            confirm: self.confirm,
        })
    }

    fn is_possible(&self, place: Place, layout: Layout) -> bool {
        let table = place.table.word();
        let problem = if !place.table.is_writable() {
            let help = "writable tables are holding and coil: name them in 'write'";
            Some((format!("table {table:?} cannot be written"), help))
        } else if place.table.is_bits() != layout.place.table.is_bits() && self.values.is_empty() {
            let help = "name a table of the same kind in 'write', or the 'values' to write";
            Some((
                "a bit cannot be written to a register, nor the reverse".to_owned(),
                help,
            ))
        } else if place.end() > 65_536 {
            let help = "check the address in 'write'";
            Some((
                "the registers to write run past the last address".to_owned(),
                help,
            ))
        } else if self.with == Some(WriteWith::Single) && place.count > 1 {
            let help = "say with = \"multiple\" (function 16)";
            Some((
                "one write of a single register cannot hold this encoding".to_owned(),
                help,
            ))
        } else {
            None
        };
        if let Some((what, help)) = &problem {
            self.section.note_structure(what, help);
        }
        problem.is_none()
    }

    fn check_values(&self, layout: Layout) {
        for (item, value) in &self.values {
            if layout.shape.unsigned((*value).into()).is_none() {
                let what = format!("{value} does not fit the encoding");
                item.note_structure(&what, "check the value and the encoding");
            }
        }
    }

    fn named_values(&self) -> BTreeMap<String, i64> {
        let named = |(item, value): &(Item<'_>, i64)| (item.key().to_owned(), *value);
        self.values.iter().map(named).collect()
    }
}

/// Reads `writable = { min, max }`.
pub(super) fn limits(section: &Section<'_>, valid: Option<(f64, f64)>) -> Option<(f64, f64)> {
    let inner = section.read(&Keys::WRITABLE)?;
    let (min, max) = (inner.require(&Writable::MIN), inner.require(&Writable::MAX));
    inner.finish();
    let (min, max) = (min?, max?);
    if min > max {
        let what = format!("'writable': min {min} is above max {max}");
        section.note_at(&Keys::WRITABLE, &what, "exchange them");
        return None;
    }
    match valid {
        Some((low, high)) if min < low || max > high => {
            let what = format!("'writable' {min} to {max} leaves the valid range {low} to {high}");
            let help = "a value written outside 'valid' would read as a fault: narrow 'writable'";
            section.note_at(&Keys::WRITABLE, &what, help);
            None
        }
        _ => Some((min, max)),
    }
}

/// Notes a point that is to be written where nothing can be.
pub(super) fn check(section: &Section<'_>, layout: Layout, write: Option<&WriteTo>) {
    let table = layout.place.table;
    if let (Some(item), None) = (section.get(&Keys::WRITABLE), write)
        && !section.has(&Keys::WRITE)
        && !table.is_writable()
    {
        let what = format!("table {:?} cannot be written", table.word());
        let help = "say where it is written: write = { table = \"holding\", address = ... }";
        item.note_key_structure(&what, help);
    }
    if let (Some(item), Some(write)) = (section.get(&Keys::WRITE), write)
        && write.values.is_empty()
        && !section.has(&Keys::WRITABLE)
    {
        let help = "add writable = { min = .., max = .. }, or the named 'values' it takes";
        item.note_key_structure("'write' without limits would be of no use", help);
    }
}
