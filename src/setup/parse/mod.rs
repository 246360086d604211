//! From the text of a setup file to a [`Setup`], or to everything that is wrong with it and with
//! the maps it names.

mod line;
mod loops;
mod maps;

use std::io;
use std::path::Path;

use self::maps::Maps;
use super::model::{Job, Setup};
use crate::spanned::{self, FileErrors, Item, Section};

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
        Section::of_file(path, text, |file| {
            let maps = Maps::new(Path::new(path), map_text);
            Some(read_setup(file, text, name, maps))
        })
    }
}

fn read_setup(file: &Section<'_>, text: &str, name: &str, maps: Maps<'_>) -> Setup {
    file.expect_schema(1);
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
    let Some(section) = file.section("job", "[job]") else {
        return Job::default();
    };
    let text = |key| {
        section
            .read(key, Item::text)
            .map(str::to_owned)
            .unwrap_or_default()
    };
    let job = Job {
        equipment: text("equipment"),
        work_order: text("work_order"),
        technician: text("technician"),
        controller: text("controller"),
        sensor: text("sensor"),
        cutout: text("cutout"),
    };
    section.finish();
    job
}
