//! One `[points.NAME]` table, and all of them.

use std::collections::{BTreeSet, HashMap};

use serde_json::{Value, json};

use super::access::Ground;
use super::keys::{MapFile, Point as Keys};
use super::layout::{self, Layout};
use super::write::{self, WriteKeys};
use super::{address, raw_values, scaling};
use crate::map::model::{Address, Point, Refresh, Role, Scaling, Table};
use crate::name::Name;
use crate::spanned::{AnyKey, Item, Kind, NameText, Section, SourceFile, nearest};
use crate::unit::Quantity;

/// A point that could be read, with its place in the file.
pub(super) struct Entry<'a> {
    pub(super) point: Point,
    pub(super) section: Section<'a>,
    pub(super) item: Item<'a>,
}

/// The points of a file.
pub(super) struct Points<'a> {
    /// Those that could be read, in the order of the file.
    pub(super) entries: Vec<Entry<'a>>,
    /// The names of all, those that could not be read included.
    pub(super) names: BTreeSet<&'a str>,
    /// Where those that could be read stand in `entries`.
    index: HashMap<&'a str, usize>,
}

impl<'a> Points<'a> {
    pub(super) fn to_points(&self) -> Vec<Point> {
        let points = self.entries.iter().map(|entry| &entry.point);
        points.cloned().collect()
    }

    /// The point an item names, if it could be read; an unknown one is noted.
    pub(super) fn named(&self, item: &Item<'_>) -> Option<&Entry<'a>> {
        let name = item.as_text()?;
        if !self.names.contains(name) {
            let near = nearest(name, self.names.iter().copied());
            let help = match near {
                Some(near) => format!("did you mean \"{near}\"?"),
                None => format!("add [points.{name}], or name another point"),
            };
            item.note_structure(&format!("no point is called {name:?}"), help);
        }
        self.find(name)
    }

    /// The point of this name, if it could be read.
    pub(super) fn find(&self, name: &str) -> Option<&Entry<'a>> {
        self.entries.get(*self.index.get(name)?)
    }

    pub(super) fn source(&self) -> Option<&'a SourceFile<'a>> {
        self.entries.first().map(|entry| entry.section.source())
    }
}

/// Reads every point.
pub(super) fn read_all<'a>(file: &Section<'a>, ground: &Ground) -> Points<'a> {
    let tables = file.require(&MapFile::POINTS);
    if let (Some([]), Some(item)) = (tables.as_deref(), file.get(&MapFile::POINTS)) {
        item.note_key_structure("there are no points", MapFile::POINTS.help());
    }
    let tables = tables.unwrap_or_default();
    let names = tables.iter().map(|(item, _)| item.key()).collect();
    let read = |(item, section): (Item<'a>, Option<_>)| read_point(item, section?, ground);
    let entries: Vec<Entry<'_>> = tables.into_iter().filter_map(read).collect();
    let keys = entries.iter().map(|entry| entry.item.key());
    Points {
        names,
        index: keys.zip(0..).collect(),
        entries,
    }
}

fn read_point<'a>(item: Item<'a>, section: Section<'a>, ground: &Ground) -> Option<Entry<'a>> {
    let name = item.key_name();
    let role = section.require(&Keys::ROLE);
    let point = read_keys(&section, ground, name, role);
    section.finish();
    Some(Entry {
        point: point?,
        section,
        item,
    })
}

fn read_keys(
    section: &Section<'_>,
    ground: &Ground,
    name: Option<Name>,
    role: Option<Role>,
) -> Option<Point> {
    let write_keys = write::keys(section, ground.numbering);
    let is_read = section.has(&Keys::ADDRESS) || write_keys.is_none();
    let spot = match &write_keys {
        Some(keys) if !is_read => written_only(section, keys),
        _ => address::read(section, ground.numbering, None),
    };
    let layout = layout::read(section, ground, spot);
    let shape = layout.map(|layout| layout.shape);
    let scaling = scaling::scaling(section, shape);
    let unit = scaling::unit(section);
    let valid = section.read(&Keys::VALID);
    let off = scaling::off(section, valid);
    let limits_in = scaling::limits_in(section);
    let is_difference = section.read(&Keys::DIFFERENCE);
    let is_difference = is_difference.unwrap_or(role.is_some_and(Role::is_difference));
    let fault_from = section.read(&Keys::FAULT_FROM).unwrap_or_default();
    let access = &ground.access;
    let word_order = section.read(&Keys::WORD_ORDER);
    let byte_order = section.read(&Keys::BYTE_ORDER);
    let faults = raw_values::faults(section, shape);
    let active = raw_values::active(section, shape);
    let means = raw_values::means(section, shape);
    let names = raw_values::names(section, shape);
    let refresh = refresh(section, is_read);
    let writable = write::limits(section, valid);
    let stored = section.read(&Keys::STORED).unwrap_or_default();
    let stops_control = section.read(&Keys::STOPS_CONTROL).unwrap_or(false);
    let (layout, scaling) = (layout?, scaling?);
    let write = write_keys.and_then(|keys| keys.resolve(layout));
    write::check(section, layout, write.as_ref());
    check_scaling(section, &scaling, layout);
    Some(Point {
        name: name?,
        role: role?,
        place: layout.place,
        encoding: layout.shape.encoding,
        word_order: word_order.unwrap_or(access.word_order),
        byte_order: byte_order.unwrap_or(access.byte_order),
        bits: layout.shape.bits,
        scaling,
        unit: unit?,
        faults,
        fault_from,
        valid,
        limits_in,
        quantity: if is_difference {
            Quantity::Difference
        } else {
            Quantity::Temperature
        },
        off,
        active,
        means,
        names,
        refresh,
        writable,
        write,
        stored,
        stops_control,
    })
}

/// Where a point without an address stands: where it is written. A table for it means nothing.
fn written_only(section: &Section<'_>, keys: &WriteKeys<'_>) -> Option<(Table, Address)> {
    section.read(&Keys::TABLE);
    if let Some(item) = section.get(&Keys::TABLE) {
        let what = "'table' says where it is read, but it has no 'address'";
        let help = "add the address; or leave 'table' out, and it is only written";
        item.note_key_structure(what, help);
    }
    keys.spot
}

/// The name of a point, or a list of them.
#[derive(Clone, Copy, Debug)]
pub(super) struct Givers;

impl Kind for Givers {
    type Value<'a> = Vec<Name>;

    fn read(&self, item: &Item<'_>) -> Option<Vec<Name>> {
        let items = one_or_more(item)?;
        Some(items.iter().filter_map(Item::name).collect())
    }

    fn schema(&self) -> Value {
        let one = NameText.schema();
        json!({ "anyOf": [one, { "type": "array", "items": one }] })
    }
}

/// The items of a list, or the one item that is none.
pub(super) fn one_or_more<'a>(item: &Item<'a>) -> Option<Vec<Item<'a>>> {
    if item.is_list() {
        item.list()
    } else {
        Some(vec![item.clone()])
    }
}

fn refresh(section: &Section<'_>, is_read: bool) -> Refresh {
    let named = section.read(&Keys::REFRESH);
    if is_read {
        return named.unwrap_or_default();
    }
    if let Some(Refresh::Trend | Refresh::Settings) = named {
        let help = "add table and address where it can be read, or leave 'refresh' out";
        section.note_at(&Keys::REFRESH, "it has no address to be read from", help);
    }
    Refresh::Never
}

/// An enumeration is a raw number; a scale would make another of it.
fn check_scaling(section: &Section<'_>, scaling: &Scaling, layout: Layout) {
    scaling::check_exactness(section, scaling, layout.shape);
    let enumerating: [&dyn AnyKey; 3] = [&Keys::MEANS, &Keys::NAMES, &Keys::ACTIVE];
    let enumerates = enumerating.into_iter().find(|key| section.has(*key));
    let scaled = scaling::SCALING.iter().find_map(|key| section.get(*key));
    if let (Some(key), Some(item)) = (enumerates, scaled) {
        let (scaled, key) = (item.key(), key.name());
        let what = format!("'{scaled}' does not go with '{key}', which is about raw values");
        item.note_key_structure(&what, "leave it out: an enumeration is not scaled");
    }
}
