//! From the text of a setup file to a [`Setup`], or to everything that is wrong with it and with
//! the maps it names.

mod keys;
mod line;
mod loops;
mod maps;

use std::io;
use std::path::Path;

use self::keys::{Job as JobKeys, SetupFile};
use self::maps::Maps;
use super::model::{Job, Setup};
use crate::spanned::{self, FileErrors, Key, Section, Text};

impl Setup {
    /// Reads a setup file and the maps it names, which stand relative to it.
    ///
    /// # Errors
    ///
    /// Everything that is wrong with them, each with its place and a way out.
    pub fn load(path: &Path) -> Result<Self, FileErrors> {
        let shown = path.display().to_string();
        let text = spanned::read_text(path).map_err(|error| {
            let what = format!("cannot be read: {}", spanned::describe(&error));
            FileErrors::of_file(&shown, what, spanned::help_for(&error))
        })?;
        let name = path.file_stem().unwrap_or_default().to_string_lossy();
        let folder = path.parent().unwrap_or(Path::new(""));
        Self::parse(&text, &shown, &name, &|map| {
            spanned::read_text(&folder.join(map))
        })
    }

    /// The JSON Schema (draft 7) of setup files, from the same keys the reader knows.
    pub fn schema() -> serde_json::Value {
        SetupFile::SHAPE.file_schema("Emberline setup")
    }

    /// Reads a setup from its text.
    ///
    /// `path` is what errors call the file, `name` what recordings are named after, and `map_text`
    /// gives the text of a map by the path the setup writes (a recording has its own copies).
    ///
    /// # Errors
    ///
    /// Everything that is wrong with the setup and its maps, each with its place and a way out.
    pub fn parse(
        text: &str,
        path: &str,
        name: &str,
        map_text: &dyn Fn(&str) -> io::Result<String>,
    ) -> Result<Self, FileErrors> {
        Section::of_file(path, text, SetupFile::SHAPE, |file| {
            let maps = Maps::new(Path::new(path), map_text);
            Some(read_setup(file, text, name, maps))
        })
    }
}

fn read_setup(file: &Section<'_>, text: &str, name: &str, maps: Maps<'_>) -> Setup {
    file.require(&SetupFile::SCHEMA);
    let job = job(file);
    let lines = line::read_all(file);
    let loops = loops::read_all(file, &lines, maps);
    file.finish();
    Setup {
        name: name.to_owned(),
        text: text.to_owned(),
        job,
        lines: lines.setups,
        loops,
    }
}

fn job(file: &Section<'_>) -> Job {
    let Some(section) = file.read(&SetupFile::JOB) else {
        return Job::default();
    };
    let text = |key: &Key<Text>| section.read(key).unwrap_or_default().to_owned();
    let job = Job {
        equipment: text(&JobKeys::EQUIPMENT),
        work_order: text(&JobKeys::WORK_ORDER),
        technician: text(&JobKeys::TECHNICIAN),
        controller: text(&JobKeys::CONTROLLER),
        sensor: text(&JobKeys::SENSOR),
        cutout: text(&JobKeys::CUTOUT),
    };
    section.finish();
    job
}
