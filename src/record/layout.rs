//! Names, headers and cells of a recording: the one place that knows how its files look.

use std::io;
use std::path::{Path, PathBuf};

use chrono::{DateTime, NaiveDate, SecondsFormat, Utc};

use super::sums::files_in;
use crate::clock::Stamp;
use crate::map::{Map, Point, UnitOf};
use crate::sample::Sample;

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
const FIXED_COLUMNS: [&str; 3] = ["time", "elapsed_s", "state"];

/// `2027-03-04T06-00-00Z_annealer`: no colons, which some file systems refuse.
pub fn folder_name(began: DateTime<Utc>, name: &str) -> String {
    format!("{}_{name}", began.format("%Y-%m-%dT%H-%M-%SZ"))
}

/// Every file whose checksum a closed recording has, in the order of the names.
pub(crate) fn files_of_recording(folder: &Path) -> io::Result<Vec<PathBuf>> {
    let mut files = files_in(folder)?;
    let own = [SUMS_FILE, LOCK_FILE].map(|name| folder.join(name));
    files.retain(|file| !own.contains(file));
    Ok(files)
}

/// The samples of one UTC day.
pub(crate) fn day_file(day: NaiveDate) -> String {
    format!("{}.csv", day.format("%Y-%m-%d"))
}

/// Whether a file of a loop's folder holds samples.
pub(crate) fn is_day_file(name: &str) -> bool {
    name.get(..10)
        .is_some_and(|day| NaiveDate::parse_from_str(day, "%Y-%m-%d").is_ok())
        && Path::new(name).extension().is_some_and(|end| end == "csv")
}

/// The header of a day file.
pub(crate) fn sample_header(map: &Map) -> Vec<String> {
    FIXED_COLUMNS
        .map(str::to_owned)
        .into_iter()
        .chain(map.trend_points().map(Point::column))
        .collect()
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

/// A wall time as recordings write it.
pub(crate) fn time_cell(time: DateTime<Utc>) -> String {
    time.to_rfc3339_opts(SecondsFormat::Millis, true)
}

/// A point's unit as recordings write it; empty for none and for one the controller switches.
pub(crate) fn unit_cell(point: &Point) -> &str {
    match &point.unit {
        UnitOf::Fixed(unit) => unit,
        UnitOf::None | UnitOf::From(_) => "",
    }
}
