//! Names, headers and cells of a recording: the one place that knows how its files look.

use std::fs::{self, File};
use std::io::{self, BufRead as _, BufReader};
use std::path::{Path, PathBuf};
use std::time::Duration;

use chrono::{DateTime, NaiveDate, SecondsFormat, Utc};

use super::sums::files_in;
use crate::clock::Stamp;
use crate::map::{Image, Map, Point};
use crate::sample::{Sample, Units};

/// The file that says what a recording is.
pub(crate) const FACTS_FILE: &str = "recording.toml";
/// Checksums of every closed file.
pub(crate) const SUMS_FILE: &str = "SHA256SUMS";
/// Held by the process that writes; gone when the recording is closed.
pub(crate) const LOCK_FILE: &str = "recording.lock";
/// Everything that happened to a loop.
pub(crate) const EVENTS_FILE: &str = "events.csv";
/// A loop's slow points.
pub(crate) const SETTINGS_FILE: &str = "settings.csv";
/// Header of `events.csv`.
pub(crate) const EVENTS_HEADER: [&str; 4] = ["time", "elapsed_s", "event", "text"];
/// Header of `settings.csv`.
pub(crate) const SETTINGS_HEADER: [&str; 7] = [
    "time",
    "elapsed_s",
    "cause",
    "point",
    "role",
    "value",
    "unit",
];
/// The columns before the points.
pub(super) const FIXED_COLUMNS: [&str; 3] = ["time", "elapsed_s", "state"];

/// `2027-03-04T06-00-00Z_annealer`: no colons and nothing else that some file systems refuse, so that a
/// recording can be carried anywhere. A setup file, after which it is named, may have such a name.
pub fn folder_name(began: DateTime<Utc>, name: &str) -> String {
    let refused = |c: char| c.is_control() || r#"<>:"/\|?*"#.contains(c);
    let name = name.replace(refused, "-");
    // Windows drops these from the end of a name.
    let name = name.trim_end_matches(['.', ' ']);
    format!("{}_{name}", began.format("%Y-%m-%dT%H-%M-%SZ"))
}

/// Every file whose checksum a closed recording has, in the order of the names.
pub(crate) fn files_of_recording(folder: &Path) -> io::Result<Vec<PathBuf>> {
    let mut files = files_in(folder)?;
    let own = [SUMS_FILE, LOCK_FILE].map(|name| folder.join(name));
    files.retain(|file| !own.contains(file));
    Ok(files)
}

/// A file of samples: one UTC day, or the part of one in which every point keeps its unit and the
/// clock was not set to another day.
#[derive(Clone, Copy, Debug, PartialEq, Eq, PartialOrd, Ord)]
pub(crate) struct DayPart {
    pub(crate) day: NaiveDate,
    /// Counted from 1.
    part: u32,
}

impl DayPart {
    /// The first part of a day.
    pub(crate) fn first(day: NaiveDate) -> Self {
        Self { day, part: 1 }
    }

    /// The part behind this one, of the same day.
    pub(crate) fn next(self) -> Self {
        Self {
            part: self.part + 1,
            ..self
        }
    }

    /// `2027-03-04.csv`, `2027-03-04_2.csv`.
    pub(crate) fn file_name(self) -> String {
        let day = self.day.format("%Y-%m-%d");
        match self.part {
            1 => format!("{day}.csv"),
            part => format!("{day}_{part}.csv"),
        }
    }

    /// What the file of this name holds, if it holds samples.
    pub(crate) fn of_file(path: &Path) -> Option<Self> {
        let name = path.file_name()?.to_str()?;
        let stem = name.strip_suffix(".csv")?;
        let (day, part) = match stem.split_once('_') {
            Some((day, part)) => (day, part.parse().ok()?),
            None => (stem, 1),
        };
        let day = NaiveDate::parse_from_str(day, "%Y-%m-%d").ok()?;
        let found = Self { day, part };
        (found.file_name() == name).then_some(found)
    }
}

/// The files of samples in a loop's folder, in the order they were written: a clock that was set back
/// gives a later one an earlier name.
pub(crate) fn day_files(folder: &Path) -> io::Result<Vec<PathBuf>> {
    let first = |path: PathBuf| Ok((first_elapsed(&path)?, path));
    let mut files = day_files_by_name(folder)?
        .into_iter()
        .map(first)
        .collect::<io::Result<Vec<_>>>()?;
    // Stable: those that begin at one moment stay as they are named.
    files.sort_by_key(|(first, _)| *first);
    Ok(files.into_iter().map(|(_, path)| path).collect())
}

/// When a file of samples begins; one without a row is still to be written.
fn first_elapsed(path: &Path) -> io::Result<Duration> {
    // A damaged row is for whoever reads it.
    let mut lines = BufReader::new(File::open(path)?).split(b'\n').skip(1);
    let row = lines.next().transpose()?.unwrap_or_default();
    let elapsed = row.split(|byte| *byte == b',').nth(1);
    let elapsed = elapsed.and_then(|cell| str::from_utf8(cell).ok());
    Ok(elapsed.and_then(elapsed_of_cell).unwrap_or(Duration::MAX))
}

/// The same files in the order of their names.
fn day_files_by_name(folder: &Path) -> io::Result<Vec<PathBuf>> {
    let paths = fs::read_dir(folder)?.map(|entry| Ok(entry?.path()));
    let paths = paths.collect::<io::Result<Vec<PathBuf>>>()?;
    let days = paths
        .into_iter()
        .filter_map(|path| Some((DayPart::of_file(&path)?, path)));
    let mut days: Vec<(DayPart, PathBuf)> = days.collect();
    days.sort();
    Ok(days.into_iter().map(|(_, path)| path).collect())
}

/// The header of a file of samples whose points have these units.
pub(crate) fn sample_header(map: &Map, units: &Units) -> Vec<String> {
    let points = map.trend_points().zip(units.iter());
    FIXED_COLUMNS
        .map(str::to_owned)
        .into_iter()
        .chain(points.map(|(point, unit)| point.column_in(unit.as_deref())))
        .collect()
}

/// The units that such a header tells; those that are fixed even if it tells nothing.
pub(crate) fn units_of_header<'h>(map: &Map, header: impl Iterator<Item = &'h str>) -> Units {
    let columns = header.skip(FIXED_COLUMNS.len()).map(Some);
    let columns = columns.chain(std::iter::repeat(None));
    let unit = |(point, column): (&Point, Option<&str>)| {
        let mut possible = map.possible_units(point).into_iter();
        let told = possible.find(|unit| Some(point.column_in(Some(unit)).as_str()) == column);
        told.or_else(|| map.unit_of(point, &Image::default()))
    };
    map.trend_points().zip(columns).map(unit).collect()
}

/// The row of one sample.
pub(crate) fn sample_row(sample: &Sample) -> Vec<String> {
    let mut row = stamp_cells(sample.stamp).to_vec();
    row.push(sample.state.word().to_owned());
    row.extend(sample.readings.iter().map(ToString::to_string));
    row
}

/// The cells of `time` (RFC 3339, UTC, milliseconds) and `elapsed_s`.
pub(crate) fn stamp_cells(stamp: Stamp) -> [String; 2] {
    let elapsed = format!(
        "{}.{:03}",
        stamp.elapsed.as_secs(),
        stamp.elapsed.subsec_millis()
    );
    [time_cell(stamp.time), elapsed]
}

/// The moment that two such cells tell.
pub(crate) fn stamp_of_cells(time: &str, elapsed: &str) -> Option<Stamp> {
    Some(Stamp {
        elapsed: elapsed_of_cell(elapsed)?,
        time: DateTime::parse_from_rfc3339(time).ok()?.to_utc(),
    })
}

fn elapsed_of_cell(cell: &str) -> Option<Duration> {
    Duration::try_from_secs_f64(cell.parse().ok()?).ok()
}

/// A wall time as recordings write it.
pub(crate) fn time_cell(time: DateTime<Utc>) -> String {
    time.to_rfc3339_opts(SecondsFormat::Millis, true)
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn a_recording_has_a_name_that_every_file_system_takes() {
        let began = DateTime::UNIX_EPOCH;
        for (name, folder) in [
            ("annealer", "1970-01-01T00-00-00Z_annealer"),
            ("oven 2: top?", "1970-01-01T00-00-00Z_oven 2- top-"),
            ("oven. .", "1970-01-01T00-00-00Z_oven"),
            ("Öfen", "1970-01-01T00-00-00Z_Öfen"),
        ] {
            assert_eq!(folder_name(began, name), folder);
        }
    }
}
