//! Reads any CSV with named columns: somebody else's recorder is as welcome as ours.

use std::fs;
use std::path::Path;

use chrono::{DateTime, TimeDelta, Utc};
use csv::StringRecord;

use super::csv_cell::{Moment, number};
use super::csv_columns::{CsvColumns, Places, split_unit};
use super::read_error::ReadError;
use super::source::{LoopRecord, Source};

/// Reads a CSV with a header row as one loop named after the file, and says what was assumed.
///
/// Separators are comma, semicolon or tab, whichever the header has; where it is not the comma, a
/// comma may be the decimal point. Time is RFC 3339 (counted from the first row), seconds (kept as
/// they are) or seconds since 1970. An empty process value is a missing sample.
///
/// # Errors
/// A file that cannot be read, a column that is missing or not clear, and, with its row, a torn row,
/// a number that is none, and time that runs backwards. With `skip_bad` such rows are counted
/// instead, in the loop's `bad_rows`.
pub fn read_csv(path: &Path, columns: &CsvColumns) -> Result<(Source, Vec<String>), ReadError> {
    let text = read_text(path)?;
    let separator = separator(&text);
    let mut reader = csv::ReaderBuilder::new()
        .delimiter(separator)
        .flexible(true)
        .trim(csv::Trim::All)
        .from_reader(text.as_bytes());
    let header = reader.headers().map_err(|error| unreadable(path, &error))?;
    let header: Vec<String> = header.iter().map(str::to_owned).collect();
    check_header(path, &header)?;
    let places = columns.places(path, &header)?;
    let mut table = Table::new(path, &header, &places, separator != b',', columns.skip_bad);
    for row in reader.records() {
        table.add(&row.map_err(|error| unreadable(path, &error))?)?;
    }
    Ok(table.finish(&header))
}

/// The file's text; bytes that are not UTF-8 are read as Latin-1, where older recorders write a
/// degree sign.
fn read_text(path: &Path) -> Result<String, ReadError> {
    let bytes = fs::read(path).map_err(|error| {
        ReadError::of_file(
            path,
            format!("cannot be read: {error}"),
            "check the path and its permissions",
        )
    })?;
    let text = String::from_utf8(bytes).unwrap_or_else(|error| {
        error
            .as_bytes()
            .iter()
            .map(|byte| char::from(*byte))
            .collect()
    });
    Ok(text.strip_prefix('\u{feff}').unwrap_or(&text).to_owned())
}

/// Tab, semicolon or comma, whichever the header has, in this order.
fn separator(text: &str) -> u8 {
    let header = text.lines().next().unwrap_or_default();
    let found = [b'\t', b';']
        .into_iter()
        .find(|byte| header.as_bytes().contains(byte));
    found.unwrap_or(b',')
}

fn check_header(path: &Path, header: &[String]) -> Result<(), ReadError> {
    if header.is_empty() {
        return Err(ReadError::of_file(
            path,
            "is empty",
            "a CSV needs a header row and at least one sample",
        ));
    }
    if header.iter().all(|cell| number(cell, true).is_some()) {
        return Err(ReadError::of_row(
            path,
            1,
            "the first row has only numbers, so the columns have no names",
            "put a header row before it, for example time,pv,sp",
        ));
    }
    Ok(())
}

fn unreadable(path: &Path, error: &csv::Error) -> ReadError {
    let what = error.to_string();
    let help = "the file is damaged there, or is no CSV";
    match error.position() {
        Some(position) => ReadError::of_row(path, position.line(), what, help),
        None => ReadError::of_file(path, what, help),
    }
}

/// The rows as they come.
struct Table<'a> {
    path: &'a Path,
    places: &'a Places,
    width: usize,
    decimal_comma: bool,
    skip_bad: bool,
    /// A wall time column beside elapsed seconds, for the beginning's date.
    wall: Option<usize>,
    began: Option<DateTime<Utc>>,
    first: Option<Moment>,
    time_s: Vec<f64>,
    pv: Vec<f64>,
    setpoint: Vec<f64>,
    output: Vec<f64>,
    last_s: f64,
    rows: usize,
    empty: usize,
    bad: usize,
}

/// What one row gives.
struct Cells {
    moment: Moment,
    time_s: f64,
    pv: Option<f64>,
    setpoint: f64,
    output: f64,
}

impl<'a> Table<'a> {
    fn new(
        path: &'a Path,
        header: &[String],
        places: &'a Places,
        decimal_comma: bool,
        skip_bad: bool,
    ) -> Self {
        let elapsed = header[places.time] == "elapsed_s";
        let wall = header.iter().position(|column| column == "time");
        Self {
            path,
            places,
            width: header.len(),
            decimal_comma,
            skip_bad,
            wall: wall.filter(|_| elapsed),
            began: None,
            first: None,
            time_s: Vec::new(),
            pv: Vec::new(),
            setpoint: Vec::new(),
            output: Vec::new(),
            last_s: f64::NEG_INFINITY,
            rows: 0,
            empty: 0,
            bad: 0,
        }
    }

    fn add(&mut self, row: &StringRecord) -> Result<(), ReadError> {
        self.rows += 1;
        match self.cells(row) {
            Ok(cells) => self.take(&cells, row),
            Err(_) if self.skip_bad => self.bad += 1,
            Err(error) => return Err(error),
        }
        Ok(())
    }

    fn take(&mut self, cells: &Cells, row: &StringRecord) {
        if self.first.is_none() {
            self.first = Some(cells.moment);
            self.began = self.beginning(cells, row);
        }
        self.last_s = cells.time_s;
        let Some(pv) = cells.pv else {
            self.empty += 1;
            return;
        };
        self.time_s.push(cells.time_s);
        self.pv.push(pv);
        self.setpoint.push(cells.setpoint);
        self.output.push(cells.output);
    }

    /// Wall time of second 0, where the file tells it.
    fn beginning(&self, cells: &Cells, row: &StringRecord) -> Option<DateTime<Utc>> {
        let beside = || row.get(self.wall?)?.parse::<DateTime<Utc>>().ok();
        let wall = cells.moment.wall().or_else(beside)?;
        let since = TimeDelta::try_milliseconds((cells.time_s * 1000.0).round() as i64)?;
        wall.checked_sub_signed(since)
    }

    fn cells(&self, row: &StringRecord) -> Result<Cells, ReadError> {
        if row.len() != self.width {
            return Err(self.error(
                row,
                format!("{} cells where the header has {}", row.len(), self.width),
                "the row is torn; --skip-bad reads on over such rows",
            ));
        }
        let places = self.places;
        let moment = self.moment(row)?;
        let time_s = self.seconds(row, moment)?;
        let optional = |place: Option<usize>| match place {
            Some(place) => self.value(row, place),
            None => Ok(None),
        };
        Ok(Cells {
            moment,
            time_s,
            pv: self.value(row, places.pv)?,
            setpoint: optional(places.setpoint)?.unwrap_or(f64::NAN),
            output: optional(places.output)?.unwrap_or(f64::NAN),
        })
    }

    fn moment(&self, row: &StringRecord) -> Result<Moment, ReadError> {
        let text = &row[self.places.time];
        Moment::parse(text, self.decimal_comma).ok_or_else(|| {
            self.error(
                row,
                format!("{text:?} is no time"),
                "a time is RFC 3339 (2027-03-04T06:00:00Z) or a number of seconds",
            )
        })
    }

    /// Seconds of the row: its own, or since the first row where it has wall time.
    fn seconds(&self, row: &StringRecord, moment: Moment) -> Result<f64, ReadError> {
        let first = self.first.unwrap_or(moment);
        let time_s = match (moment, first.wall().zip(moment.wall())) {
            (Moment::Seconds(seconds), _) if first.wall().is_none() => seconds,
            (_, Some((began, now))) => (now - began).as_seconds_f64(),
            _ => {
                return Err(self.error(
                    row,
                    "wall time and seconds are mixed in the time column",
                    "give each row the same kind of time",
                ));
            }
        };
        if time_s < self.last_s {
            return Err(self.error(
                row,
                format!(
                    "time runs backwards, {} s after {} s",
                    time_s, self.last_s
                ),
                "sort the rows, or cut the file where the clock was set; --skip-bad leaves such rows out",
            ));
        }
        Ok(time_s)
    }

    /// A number, or nothing for an empty cell.
    fn value(&self, row: &StringRecord, place: usize) -> Result<Option<f64>, ReadError> {
        let text = &row[place];
        if text.is_empty() {
            return Ok(None);
        }
        let value = number(text, self.decimal_comma).ok_or_else(|| {
            self.error(
                row,
                format!("{text:?} is no number"),
                "an empty cell is a missing sample; --skip-bad reads on over such rows",
            )
        })?;
        Ok(Some(value))
    }

    fn error(&self, row: &StringRecord, what: impl Into<String>, help: &str) -> ReadError {
        let line = row.position().map_or(0, csv::Position::line);
        ReadError::of_row(self.path, line, what, help)
    }

    fn finish(self, header: &[String]) -> (Source, Vec<String>) {
        let name = |part: Option<&std::ffi::OsStr>| {
            part.map_or_else(String::new, |part| part.to_string_lossy().into_owned())
        };
        let bad_rows = [("empty", self.empty), ("unreadable", self.bad)];
        let mut assumed = self.places.assumed.clone();
        if let Some(Moment::WallWithoutZone(_)) = self.first {
            assumed.push("times do not say their zone and are taken as UTC".to_owned());
        }
        let (_, unit) = split_unit(&header[self.places.pv]);
        let record = LoopRecord {
            name: name(self.path.file_stem()),
            controller: None,
            unit: unit.map(str::to_owned),
            band: None,
            began: self.began,
            time_s: self.time_s,
            pv: self.pv,
            setpoint: self.places.setpoint.map(|_| self.setpoint),
            output: self.places.output.map(|_| self.output),
            autotune: None,
            rows: self.rows,
            bad_rows: bad_rows
                .into_iter()
                .filter(|(_, count)| *count > 0)
                .map(|(why, count)| (why.to_owned(), count))
                .collect(),
            events: Vec::new(),
            settings: Vec::new(),
        };
        let source = Source {
            name: name(self.path.file_name()),
            facts: None,
            loops: vec![record],
        };
        (source, assumed)
    }
}
