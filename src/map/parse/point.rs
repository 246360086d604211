//! One `[points.NAME]` table, and all of them.

use std::collections::{BTreeSet, HashMap};

use super::access::Ground;
use super::layout::{self, Layout};
use super::{address, raw_values, scaling, write};
use crate::map::model::{Point, Refresh, Role, Scaling};
use crate::name::Name;
use crate::spanned::{Item, Section, SourceFile, nearest};

const ROLE_HELP: &str = "say what it is to the loop, for example role = \"process-value\", \
                         or role = \"other\"";

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
    pub(super) fn into_points(self) -> Vec<Point> {
        self.entries.into_iter().map(|entry| entry.point).collect()
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
    let help = "add a table for each register: [points.pv] with role, table, address, encoding";
    let items = file
        .require("points", help, |item| item.section("[points]"))
        .map(|section| {
            let items = section.entries();
            if items.is_empty() {
                section.note_structure("there are no points", help);
            }
            items
        })
        .unwrap_or_default();
    let names = items.iter().map(Item::key).collect();
    let read = |item| read_point(item, ground);
    let entries: Vec<Entry<'_>> = items.into_iter().filter_map(read).collect();
    let keys = entries.iter().map(|entry| entry.item.key());
    Points {
        names,
        index: keys.zip(0..).collect(),
        entries,
    }
}

fn read_point<'a>(item: Item<'a>, ground: &Ground) -> Option<Entry<'a>> {
    let section = item.section(&format!("point '{}'", item.key()))?;
    let name = item.key_name();
    let role = section.require("role", ROLE_HELP, Item::word::<Role>);
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
    let is_read = section.has("address") || write_keys.is_none();
    let spot = match &write_keys {
        Some(keys) if !is_read => keys.spot,
        _ => address::read(section, ground.numbering, None),
    };
    let layout = layout::read(section, ground, spot);
    let shape = layout.map(|layout| layout.shape);
    let scaling = scaling::scaling(section, shape);
    let unit = scaling::unit(section);
    let valid = scaling::valid(section);
    let off = scaling::off(section, valid);
    let access = &ground.access;
    let word_order = section.read("word_order", Item::word);
    let byte_order = section.read("byte_order", Item::word);
    let faults = raw_values::faults(section, shape);
    let active = raw_values::active(section, shape);
    let means = raw_values::means(section, shape);
    let names = raw_values::names(section, shape);
    let refresh = refresh(section, is_read);
    let writable = write::limits(section, valid);
    let stored = write::stored(section);
    let stops_control = section.read("stops_control", Item::flag).unwrap_or(false);
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
        valid,
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

fn refresh(section: &Section<'_>, is_read: bool) -> Refresh {
    let named = section.read("refresh", Item::word::<Refresh>);
    if is_read {
        return named.unwrap_or_default();
    }
    if let (Some(Refresh::Trend | Refresh::Settings), Some(item)) = (named, section.get("refresh"))
    {
        let help = "add table and address where it can be read, or leave 'refresh' out";
        item.note_structure("it has no address to be read from", help);
    }
    Refresh::Never
}

/// An enumeration is a raw number; a scale would make another of it.
fn check_scaling(section: &Section<'_>, scaling: &Scaling, layout: Layout) {
    scaling::check_exactness(section, scaling, layout.shape);
    let enumerates = ["means", "names", "active"]
        .into_iter()
        .find(|key| section.has(key));
    let scaled = ["scale", "offset", "decimals", "decimals_from"]
        .into_iter()
        .find_map(|key| section.get(key));
    if let (Some(key), Some(item)) = (enumerates, scaled) {
        let what = format!(
            "'{}' does not go with '{key}', which is about raw values",
            item.key()
        );
        item.note_key_structure(&what, "leave it out: an enumeration is not scaled");
    }
}
