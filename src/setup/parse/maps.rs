//! The maps a setup names, each read and parsed once.

use std::collections::BTreeMap;
use std::io;
use std::path::Path;
use std::sync::Arc;

use crate::map::{Map, Role};
use crate::spanned::{self, Item};

/// A map and its text.
pub(super) type ReadMap = (Arc<Map>, Arc<str>);

/// The maps read so far, by the path the setup writes; `None` is one that could not be read.
pub(super) struct Maps<'f> {
    setup_path: &'f Path,
    text_of: &'f dyn Fn(&str) -> io::Result<String>,
    read: BTreeMap<String, Option<ReadMap>>,
}

impl<'f> Maps<'f> {
    pub(super) fn new(
        setup_path: &'f Path,
        text_of: &'f dyn Fn(&str) -> io::Result<String>,
    ) -> Self {
        Self {
            setup_path,
            text_of,
            read: BTreeMap::new(),
        }
    }

    /// The map an item names; what is wrong with it is noted the first time it is named.
    pub(super) fn named(&mut self, item: &Item<'_>) -> Option<ReadMap> {
        let path = item.text()?;
        if let Some(read) = self.read.get(path) {
            return read.clone();
        }
        let read = self.read(item, path);
        self.read.insert(path.to_owned(), read.clone());
        read
    }

    fn read(&self, item: &Item<'_>, path: &str) -> Option<ReadMap> {
        let text = match (self.text_of)(path) {
            Ok(text) => text,
            Err(error) => {
                let what = format!("map {path:?} cannot be read: {}", spanned::describe(&error));
                let help = spanned::help_for(&error);
                let help = format!("{help}; a map's path starts from the setup file's folder");
                item.note(&what, help);
                return None;
            }
        };
        // What a person can click or open: the way to the setup, then the way from there.
        let folder = self.setup_path.parent().unwrap_or(Path::new(""));
        let shown = folder.join(path).display().to_string();
        match Map::parse(&text, &shown) {
            Ok(map) if map.point_with(Role::ProcessValue).is_none() => {
                let what = format!("map {path:?} has no point with role \"process-value\"");
                item.note(
                    &what,
                    "a loop needs one: give that role to a point of the map",
                );
                None
            }
            Ok(map) => Some((Arc::new(map), text.into())),
            Err(errors) => {
                item.adopt(errors);
                None
            }
        }
    }
}
