//! From the text of a map file to a [`Map`], or to everything that is wrong with it.
//!
//! Each file here reads one part of the map file; `check` looks at the points together.

mod access;
mod address;
mod check;
mod controller;
mod doubt;
mod keys;
mod layout;
mod overlap;
mod point;
mod raw_values;
mod scaling;
mod write;

use super::model::Map;
use crate::spanned::{FileErrors, Section, Warning};
use keys::MapFile;

impl Map {
    /// Reads a map from its text; `path` is what errors call the file.
    ///
    /// # Errors
    ///
    /// Everything that is wrong with it, each with its place and a way out.
    ///
    /// ```
    /// use emberline::map::Map;
    /// let text = r#"
    /// schema = 1
    /// title = "Plain controller"
    /// [points.pv]
    /// role = "process-value"
    /// table = "input"
    /// address = 0
    /// encoding = "i16"
    /// scale = 0.1
    /// unit = "degC"
    /// "#;
    /// assert_eq!(Map::parse(text, "plain.toml").unwrap().points[0].column(), "pv_degC");
    ///
    /// let errors = Map::parse(&text.replace("i16", "i61"), "plain.toml").unwrap_err();
    /// assert!(errors.to_string().starts_with("plain.toml:8:12: point 'pv': unknown encoding"));
    /// ```
    pub fn parse(text: &str, path: &str) -> Result<Self, FileErrors> {
        Section::of_file(path, text, MapFile::SHAPE, |file| read_map(file, false))
    }

    /// As [`parse`](Self::parse), with everything that is allowed and may still not be meant, and
    /// with what the program cannot do for want of a point.
    ///
    /// # Errors
    ///
    /// Everything that is wrong with it, each with its place and a way out.
    pub fn check(text: &str, path: &str) -> Result<(Self, Vec<Warning>), FileErrors> {
        Section::of_file_with_warnings(path, text, MapFile::SHAPE, |file| read_map(file, true))
    }

    /// The JSON Schema (draft 7) of map files, from the same keys the reader knows.
    pub fn schema() -> serde_json::Value {
        MapFile::SHAPE.file_schema("Emberline register map")
    }
}

fn read_map(file: &Section<'_>, with_doubts: bool) -> Option<Map> {
    file.require(&MapFile::SCHEMA);
    let title = file.require(&MapFile::TITLE);
    let ground = access::read(file);
    let points = point::read_all(file, &ground);
    let tuning = controller::tuning(file);
    let autotune = controller::autotune(file);
    let unlock = controller::unlock(file, &points);
    let persist = controller::persist(file, &points);
    let on_lost_communication = controller::on_lost_communication(file);
    file.finish();
    check::all(&points);
    let map = Map {
        title: title?.to_owned(),
        access: ground.access,
        points: points.to_points(),
        tuning,
        autotune,
        unlock_before: unlock.0,
        unlock_after: unlock.1,
        persist,
        on_lost_communication,
    };
    if with_doubts && file.source().is_sound() {
        doubt::all(file, ground.numbering, &points, &map);
    }
    Some(map)
}
