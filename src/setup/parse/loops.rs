//! One `[[loops]]` table, and all of them.

use std::collections::{BTreeMap, BTreeSet};
use std::time::Duration;

use serde_json::Value;

use super::keys::{Loop as Keys, SetupFile};
use super::line::Lines;
use super::maps::Maps;
use crate::name::no_folder_on_windows;
use crate::setup::model::{LoopSetup, UnitId};
use crate::spanned::{Item, Kind, Section, Whole, nearest};

const USUAL_EVERY: Duration = Duration::from_secs(1);

/// Reads every loop.
pub(super) fn read_all(file: &Section<'_>, lines: &Lines<'_>, maps: Maps<'_>) -> Vec<LoopSetup> {
    let tables = file.require(&SetupFile::LOOPS);
    if let (Some([]), Some(item)) = (tables.as_deref(), file.get(&SetupFile::LOOPS)) {
        item.note_structure("there are no loops", SetupFile::LOOPS.help());
    }
    let mut reader = Reader {
        lines,
        maps,
        names: BTreeSet::new(),
        places: BTreeMap::new(),
    };
    let tables = tables.unwrap_or_default();
    let read = |section: &Section<'_>| reader.read(section);
    tables.iter().filter_map(read).collect()
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
    fn read(&mut self, section: &Section<'_>) -> Option<LoopSetup> {
        let name = section.require(&Keys::NAME);
        self.check_name(section);
        Self::check_folder(section);
        let line = section.require(&Keys::LINE);
        self.check_line(section);
        let unit = section.require(&Keys::UNIT_NUMBER);
        let map = section.require(&Keys::MAP).zip(section.get(&Keys::MAP));
        let map = map.map(|(path, item)| (path, self.maps.named(&item)));
        let every = section.read(&Keys::EVERY);
        let band = section.read(&Keys::BAND);
        let stop_setpoint = section.read(&Keys::STOP_SETPOINT);
        let stop_above = section.read(&Keys::STOP_ABOVE);
        section.finish();
        let (name, line, unit, (map_path, map)) = (name?, line?, unit?, map?);
        self.check_place(section, (line.as_str(), unit, map_path), name.as_str());
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

    fn check_name(&mut self, section: &Section<'_>) {
        let name = section.get(&Keys::NAME).and_then(|item| item.as_text());
        if let Some(name) = name
            && !self.names.insert(name.to_lowercase())
        {
            let what = format!("a loop called {name:?} is already there");
            let help = "give each loop a name of its own (case does not count)";
            section.note_at(&Keys::NAME, &what, help);
        }
    }

    /// A loop becomes a folder.
    fn check_folder(section: &Section<'_>) {
        let name = section.get(&Keys::NAME).and_then(|item| item.as_text());
        if let Some(name) = name.filter(|it| cfg!(windows) && no_folder_on_windows(it)) {
            let what = format!("Windows lets no folder be called {name:?}");
            let help = "give the loop another name, for example with '-1' behind it";
            section.note_at(&Keys::NAME, &what, help);
        }
    }

    fn check_line(&self, section: &Section<'_>) {
        let Some(line) = section.get(&Keys::LINE).and_then(|item| item.as_text()) else {
            return;
        };
        if self.lines.names.contains(line) {
            return;
        }
        let help = match nearest(line, self.lines.names.iter().copied()) {
            Some(near) => format!("did you mean \"{near}\"?"),
            None => format!("add [lines.{line}], or name another line"),
        };
        section.note_at(&Keys::LINE, &format!("no line is called {line:?}"), &help);
    }

    /// Two loops of one controller have two maps; the same map twice is the same loop twice.
    fn check_place(&mut self, section: &Section<'_>, place: (&str, UnitId, &str), name: &str) {
        let (line, unit, map) = place;
        let key = (line.to_owned(), unit, map.to_owned());
        if let Some(other) = self.places.get(&key) {
            let unit = unit.get();
            let what = format!("unit {unit} on line '{line}' is already read as loop '{other}'");
            let help =
                "check the unit number; a second loop of one controller has a map of its own";
            section.note_at(&Keys::UNIT_NUMBER, &what, help);
        }
        self.places.entry(key).or_insert_with(|| name.to_owned());
    }
}

/// A number of a unit, 1 to 247.
#[derive(Clone, Copy, Debug)]
pub(super) struct UnitNumber;

impl Kind for UnitNumber {
    type Value<'a> = UnitId;

    fn read(&self, item: &Item<'_>) -> Option<UnitId> {
        let number = item.whole_number()?;
        let unit = u8::try_from(number).ok().and_then(UnitId::new);
        if unit.is_none() {
            let help = match number {
                0 => "0 speaks to every unit at once and nobody answers; units are 1 to 247",
                248..=255 => "248 to 255 are reserved; units are 1 to 247",
                _ => "units are 1 to 247",
            };
            item.note(&format!("'unit_number' cannot be {}", item.written()), help);
        }
        unit
    }

    fn schema(&self) -> Value {
        Whole(1, 247).schema()
    }
}
