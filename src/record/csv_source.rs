//! Reads any CSV with named columns: somebody else's recorder is as welcome as ours.

use std::path::Path;

use chrono::{DateTime, TimeDelta, Utc};

use super::csv_cell::{Counts, Moment, are_day_numbers, number, of_day_number};
use super::csv_columns::{CsvColumns, Places, counts_of, split_unit};
use super::csv_file::{CsvFile, CsvRow, Writer};
use super::read_error::ReadError;
use super::recording_source::UNREADABLE;
use super::source::{LoopRecord, Source};

/// Reads a CSV with a header row as one loop named after the file, and says what was assumed.
///
/// Separators are comma, semicolon or tab, whichever the header has; where it is not the comma, a
/// comma may be the decimal point. Time is RFC 3339 (counted from the first row), seconds (kept as
/// they are), milliseconds where the column's name says so, seconds or milliseconds since 1970, or a
/// spreadsheet's day numbers. An empty process value is a missing sample. Rows that repeat the time of
/// the row above are kept, and their number is told.
///
/// # Errors
/// A file that cannot be read, a column that is missing or not clear, a row of over a megabyte, and,
/// with its row, a torn row, NUL bytes, a number that is none, and time that runs backwards. With
/// `skip_bad` rows with one of the latter four are counted instead, in the loop's `bad_rows`.
pub fn read_csv(path: &Path, columns: &CsvColumns) -> Result<(Source, Vec<String>), ReadError> {
    let mut file = CsvFile::open(path, Writer::Anybody)?;
    let header = file.header().to_vec();
    check_header(path, &header)?;
    let places = columns.places(path, &header)?;
    let decimal_comma = file.may_have_decimal_commas();
    let mut table = Table::new(path, &header, &places, decimal_comma, columns.skip_bad);
    while let Some(row) = file.next_row()? {
        table.add(row)?;
    }
    Ok(table.finish(&header))
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

/// The rows as they come.
struct Table<'a> {
    path: &'a Path,
    places: &'a Places,
    width: usize,
    decimal_comma: bool,
    counts: Counts,
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
    repeated: usize,
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
            counts: counts_of(&header[places.time]),
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
            repeated: 0,
        }
    }

    fn add(&mut self, row: Result<CsvRow, ReadError>) -> Result<(), ReadError> {
        self.rows += 1;
        match row.and_then(|row| Ok((self.cells(&row)?, row))) {
            Ok((cells, row)) => self.take(&cells, &row),
            Err(_) if self.skip_bad => self.bad += 1,
            Err(error) => return Err(error),
        }
        Ok(())
    }

    fn take(&mut self, cells: &Cells, row: &CsvRow) {
        if self.first.is_none() {
            self.first = Some(cells.moment);
            self.began = self.beginning(cells, row);
        }
        // Exactly equal: the file repeats the time, digit for digit.
        self.repeated += usize::from(cells.time_s <= self.last_s);
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
    fn beginning(&self, cells: &Cells, row: &CsvRow) -> Option<DateTime<Utc>> {
        let beside = || row.cells.get(self.wall?)?.parse::<DateTime<Utc>>().ok();
        let wall = cells.moment.wall().or_else(beside)?;
        let since = TimeDelta::try_milliseconds((cells.time_s * 1000.0).round() as i64)?;
        wall.checked_sub_signed(since)
    }

    fn cells(&self, row: &CsvRow) -> Result<Cells, ReadError> {
        if row.cells.len() != self.width {
            return Err(self.error(
                row,
                format!(
                    "{} cells where the header has {}",
                    row.cells.len(),
                    self.width
                ),
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

    fn moment(&self, row: &CsvRow) -> Result<Moment, ReadError> {
        let text = &row.cells[self.places.time];
        Moment::parse(text, self.decimal_comma, self.counts).ok_or_else(|| {
            self.error(
                row,
                format!("{text:?} is no time"),
                "a time is RFC 3339 (2027-03-04T06:00:00Z) or a number of seconds; --skip-bad reads on over such rows",
            )
        })
    }

    /// Seconds of the row: its own, or since the first row where it has wall time.
    fn seconds(&self, row: &CsvRow, moment: Moment) -> Result<f64, ReadError> {
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
    fn value(&self, row: &CsvRow, place: usize) -> Result<Option<f64>, ReadError> {
        let text = &row.cells[place];
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

    fn error(&self, row: &CsvRow, what: impl Into<String>, help: &str) -> ReadError {
        ReadError::of_row(self.path, row.number, what, help)
    }

    /// Seconds since the first row, and its wall time, where the numbers were a spreadsheet's days.
    fn days_to_seconds(&mut self) -> bool {
        let is_count = matches!(self.first, Some(Moment::Seconds(_)));
        if !is_count || self.counts != Counts::Seconds || !are_day_numbers(&self.time_s) {
            return false;
        }
        let first = self.time_s[0];
        self.began = of_day_number(first);
        for time in &mut self.time_s {
            // To the millisecond, as far as a spreadsheet's numbers reach.
            *time = ((*time - first) * 86_400_000.0).round() / 1e3;
        }
        true
    }

    fn finish(mut self, header: &[String]) -> (Source, Vec<String>) {
        let name = |part: Option<&std::ffi::OsStr>| {
            part.map_or_else(String::new, |part| part.to_string_lossy().into_owned())
        };
        let bad_rows = [("empty", self.empty), (UNREADABLE, self.bad)];
        let mut assumed = self.places.assumed.clone();
        if self.days_to_seconds() {
            assumed.push(
                "the time is taken as a spreadsheet's day numbers (46450.25 is 2027-03-04 06:00), in UTC"
                    .to_owned(),
            );
        }
        if self.repeated > 0 {
            assumed.push(format!(
                "rows with the time of the row above: {}; they count",
                self.repeated
            ));
        }
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
