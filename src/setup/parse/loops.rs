//! One `[[loops]]` table, and all of them.

use std::collections::{BTreeMap, BTreeSet};
use std::time::Duration;

use super::line::Lines;
use super::maps::Maps;
use crate::setup::model::{LoopSetup, UnitId};
use crate::spanned::{Item, Section, nearest};

const USUAL_EVERY: Duration = Duration::from_secs(1);

/// Reads every loop.
pub(super) fn read_all(file: &Section<'_>, lines: &Lines<'_>, maps: Maps<'_>) -> Vec<LoopSetup> {
    let help = "add [[loops]] with name, line, unit_number and map";
    let items = file.require("loops", help, |item| {
        let items = item.headed_list()?;
        if items.is_empty() {
            item.note_structure("there are no loops", help);
        }
        Some(items)
    });
    let mut reader = Reader {
        lines,
        maps,
        names: BTreeSet::new(),
        places: BTreeMap::new(),
    };
    let items = items.unwrap_or_default();
    let read = |(index, item)| reader.read(index, &item);
    items.into_iter().enumerate().filter_map(read).collect()
}

struct Reader<'l, 'a> {
    lines: &'l Lines<'a>,
    maps: Maps<'l>,
    /// Names as file systems see them that do not tell cases apart: a loop becomes a folder.
    names: BTreeSet<String>,
    /// Line, unit and map of the loops so far, with the loop's name.
    places: BTreeMap<(String, UnitId, String), String>,
}

impl Reader<'_, '_> {
    fn read(&mut self, index: usize, item: &Item<'_>) -> Option<LoopSetup> {
        let section = item.listed_section_called(&called(item, index))?;
        let help = "names become folders: name = \"annealer-top\"";
        let name = section.require("name", help, |item| {
            self.check_name(item);
            item.name()
        });
        let help = "name one of the [lines]: line = \"shop\"";
        let line = section.require("line", help, |item| {
            self.check_line(item);
            item.name()
        });
        let help = "add the controller's number on the line: unit_number = 1";
        let unit = section.require("unit_number", help, unit_number);
        let help = "name the register map: map = \"maps/annealer.toml\"";
        let map = section.require("map", help, |item| {
            Some((item.text()?, self.maps.named(item)))
        });
        let longest = Duration::from_hours(24);
        let every = Duration::from_millis(10)..=longest;
        let every = section.read("every", |item| item.duration(every));
        let band = section.read("band", band);
        let stop_setpoint = section.read("stop_setpoint", Item::number);
        let stop_above = section.read("stop_above", Item::number);
        section.finish();
        let (name, line, unit, (map_path, map)) = (name?, line?, unit?, map?);
        self.check_place(&section, (line.as_str(), unit, map_path), name.as_str());
        let (map, map_text) = map?;
        Some(LoopSetup {
            name,
            line,
            unit,
            map,
            map_path: map_path.to_owned(),
            map_text,
            every: every.unwrap_or(USUAL_EVERY),
            band,
            stop_setpoint,
            stop_above,
        })
    }

    fn check_name(&mut self, item: &Item<'_>) {
        let Some(name) = item.as_text() else {
            return;
        };
        if !self.names.insert(name.to_lowercase()) {
            let what = format!("a loop called {name:?} is already there");
            item.note_structure(
                &what,
                "give each loop a name of its own (case does not count)",
            );
        }
    }

    fn check_line(&self, item: &Item<'_>) {
        let Some(line) = item.as_text() else {
            return;
        };
        if self.lines.names.contains(line) {
            return;
        }
        let help = match nearest(line, self.lines.names.iter().copied()) {
            Some(near) => format!("did you mean \"{near}\"?"),
            None => format!("add [lines.{line}], or name another line"),
        };
        item.note_structure(&format!("no line is called {line:?}"), help);
    }

    /// Two loops of one controller have two maps; the same map twice is the same loop twice.
    fn check_place(&mut self, section: &Section<'_>, place: (&str, UnitId, &str), name: &str) {
        let (line, unit, map) = place;
        let key = (line.to_owned(), unit, map.to_owned());
        if let (Some(other), Some(item)) = (self.places.get(&key), section.get("unit_number")) {
            let unit = unit.get();
            let what = format!("unit {unit} on line '{line}' is already read as loop '{other}'");
            let help =
                "check the unit number; a second loop of one controller has a map of its own";
            item.note_structure(&what, help);
        }
        self.places.entry(key).or_insert_with(|| name.to_owned());
    }
}

/// How messages call a loop: by its name, if it has one.
fn called(item: &Item<'_>, index: usize) -> String {
    match item.text_inside("name") {
        Some(name) => format!("loop '{name}'"),
        None => format!("loop {}", index + 1),
    }
}

fn unit_number(item: &Item<'_>) -> Option<UnitId> {
    let number = item.whole_number()?;
    let unit = u8::try_from(number).ok().and_then(UnitId::new);
    if unit.is_none() {
        let help = match number {
            0 => "0 speaks to every unit at once and nobody answers; units are 1 to 247",
            248..=255 => "248 to 255 are reserved; units are 1 to 247",
            _ => "units are 1 to 247",
        };
        item.note(&format!("'unit_number' cannot be {number}"), help);
    }
    unit
}

fn band(item: &Item<'_>) -> Option<f64> {
    let band = item.number()?;
    if band <= 0.0 {
        let what = format!("'band' cannot be {band}");
        item.note(
            &what,
            "write how many degrees around the setpoint are good: band = 2.0",
        );
        return None;
    }
    Some(band)
}
