//! Reads any CSV with named columns: somebody else's recorder is as welcome as ours.

use std::ffi::OsStr;
use std::path::{Path, PathBuf};
use std::sync::Arc;

use chrono::{DateTime, TimeDelta, Utc};

use super::block::{Block, Blocks, RecordedSample, RowCounts};
use super::csv_cell::{Counts, Moment, number};
use super::csv_columns::{CsvColumns, Places, counts_of, split_unit};
use super::csv_file::{CsvFile, CsvRow, Writer};
use super::csv_time::{Learning, TimeAxis};
use super::open_source::{Files, OpenLoop, OpenSource, Rows};
use super::read_error::{ReadError, shown};
use super::recording_source::UNREADABLE;
use super::wall::WallClock;

/// The state of a row without a process value.
const EMPTY: &str = "empty";

/// Opens a CSV with a header row as one loop named after the file, and notes what was assumed.
///
/// Separators are comma, semicolon or tab, whichever the header has; where it is not the comma, a
/// comma may be the decimal point. Time is RFC 3339 (counted from the first row), seconds (kept as
/// they are), milliseconds where the column's name says so, seconds or milliseconds since 1970, or a
/// spreadsheet's day numbers. An empty process value is a missing sample. Rows that repeat the time of
/// the row above are kept, and their number is told.
///
/// # Errors
/// A file that cannot be read, a column that is missing or not clear, and, with its row, what is wrong
/// with one of the first rows, from which the kind of time is learned.
pub(super) fn open_csv(path: &Path, columns: &CsvColumns) -> Result<OpenSource, ReadError> {
    let mut file = CsvFile::open(path, Writer::Anybody)?;
    let header = file.header().to_vec();
    check_header(path, &header)?;
    let places = columns.places(path, &header)?;
    let mut notes = places.assumed.clone();
    let cells = Cells {
        path: path.to_owned(),
        decimal_comma: file.may_have_decimal_commas(),
        counts: counts_of(&header[places.time]),
        // A wall time column beside elapsed seconds tells the beginning's date.
        wall: (header[places.time] == "elapsed_s")
            .then(|| header.iter().position(|column| column == "time"))
            .flatten(),
        places,
    };
    let start = Start::find(&mut file, &cells, columns.skip_bad)?;
    notes.extend(start.notes());
    let name = |part: Option<&OsStr>| {
        part.map_or_else(String::new, |part| part.to_string_lossy().into_owned())
    };
    let (_, unit) = split_unit(&header[cells.places.pv]);
    let the_loop = OpenLoop {
        name: name(path.file_stem()),
        controller: None,
        unit: unit.map(str::to_owned),
        band: None,
        wall: start.began.map(WallClock::beginning),
        first_s: start.first_s,
        has_setpoint: cells.places.setpoint.is_some(),
        has_output: cells.places.output.is_some(),
        has_autotune: false,
        events: Vec::new(),
        settings: Vec::new(),
        rows: Rows {
            files: Files::Csv(Arc::new(CsvShape {
                cells,
                axis: start.axis,
            })),
            skip_bad: columns.skip_bad,
        },
    };
    Ok(OpenSource {
        name: name(path.file_name()),
        facts: None,
        loops: vec![the_loop],
        notes,
    })
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

/// How the rows of a CSV are read.
#[derive(Debug)]
pub(super) struct CsvShape {
    cells: Cells,
    axis: TimeAxis,
}

/// Which cells are what, and how they are written.
#[derive(Debug)]
struct Cells {
    path: PathBuf,
    places: Places,
    decimal_comma: bool,
    counts: Counts,
    wall: Option<usize>,
}

impl Cells {
    fn moment(&self, row: &CsvRow<'_>) -> Result<Moment, ReadError> {
        let text = &row.cells[self.places.time];
        Moment::parse(text, self.decimal_comma, self.counts).ok_or_else(|| {
            self.error(
                row,
                format!("{:?} is no time", shown(text)),
                "a time is RFC 3339 (2027-03-04T06:00:00Z) or a number of seconds; --skip-bad reads on over such rows",
            )
        })
    }

    /// Process value, setpoint and output; NaN for empty cells.
    fn values(&self, row: &CsvRow<'_>) -> Result<[f64; 3], ReadError> {
        let value = |place: Option<usize>| {
            let Some(text) = place
                .map(|place| &row.cells[place])
                .filter(|it| !it.is_empty())
            else {
                return Ok(f64::NAN);
            };
            number(text, self.decimal_comma).ok_or_else(|| {
                self.error(
                    row,
                    format!("{:?} is no number", shown(text)),
                    "an empty cell is a missing sample; --skip-bad reads on over such rows",
                )
            })
        };
        let places = &self.places;
        Ok([
            value(Some(places.pv))?,
            value(places.setpoint)?,
            value(places.output)?,
        ])
    }

    fn error(&self, row: &CsvRow<'_>, what: impl Into<String>, help: &str) -> ReadError {
        ReadError::of_row(&self.path, row.number, what, help)
    }
}

/// What the first rows tell.
struct Start {
    axis: TimeAxis,
    first: Option<Moment>,
    first_s: Option<f64>,
    /// Wall time of second 0, where the file tells it.
    began: Option<DateTime<Utc>>,
}

impl Start {
    fn find(file: &mut CsvFile, cells: &Cells, skip_bad: bool) -> Result<Self, ReadError> {
        let mut learning = Learning::default();
        let mut beside = None;
        let axis = loop {
            let Some(row) = file.next_row()? else {
                break learning.at_end();
            };
            let read = row.and_then(|row| {
                cells.values(&row)?;
                Ok((cells.moment(&row)?, row))
            });
            let (moment, row) = match read {
                Err(_) if skip_bad => continue,
                read => read?,
            };
            if learning.first().is_none() {
                let wall = cells.wall.and_then(|at| row.cells.get(at)?.parse().ok());
                beside = wall.map(|wall: DateTime<Utc>| (wall, moment));
            }
            if let Some(axis) = learning.learn(moment, cells.counts == Counts::Seconds) {
                break axis;
            }
        };
        let first = learning.first();
        let first_s = first.and_then(|first| axis.seconds(first).ok());
        let began = axis.began().or_else(|| {
            let since = TimeDelta::try_milliseconds((first_s? * 1000.0).round() as i64)?;
            beside?.0.checked_sub_signed(since)
        });
        Ok(Self {
            axis,
            first,
            first_s,
            began,
        })
    }

    fn notes(&self) -> Option<String> {
        let note = match (self.axis, self.first) {
            (TimeAxis::Days(_), _) => {
                "the time is taken as a spreadsheet's day numbers (46450.25 is 2027-03-04 06:00), in UTC"
            }
            (_, Some(Moment::WallWithoutZone(_))) => {
                "times do not say their zone and are taken as UTC"
            }
            _ => return None,
        };
        Some(note.to_owned())
    }
}

/// A CSV whose rows are being read.
pub(super) struct CsvRows {
    file: CsvFile,
    shape: Arc<CsvShape>,
    skip_bad: bool,
    last_s: f64,
}

impl CsvRows {
    pub(super) fn open(shape: Arc<CsvShape>, skip_bad: bool) -> Result<Self, ReadError> {
        Ok(Self {
            file: CsvFile::open(&shape.cells.path, Writer::Anybody)?,
            shape,
            skip_bad,
            last_s: f64::NEG_INFINITY,
        })
    }
}

impl Blocks for CsvRows {
    fn next_block(&mut self, room: Vec<RecordedSample>) -> Result<Option<Block>, ReadError> {
        let mut block = Block {
            file: self.shape.cells.path.clone(),
            first_row: 0,
            samples: room,
            counts: RowCounts::default(),
        };
        while !block.is_full()
            && let Some(row) = self.file.next_row()?
        {
            block.counts.rows += 1;
            match row.and_then(|row| self.shape.sample(&row, self.last_s)) {
                Ok(sample) => {
                    // Exactly equal: the file repeats the time.
                    block.counts.repeated += usize::from(sample.time_s <= self.last_s);
                    self.last_s = sample.time_s;
                    if sample.pv.is_nan() {
                        block.counts.count(EMPTY, 1);
                    }
                    block.samples.push(sample);
                }
                Err(_) if self.skip_bad => block.counts.count(UNREADABLE, 1),
                Err(error) => return Err(error),
            }
        }
        Ok((block.counts.rows > 0).then_some(block))
    }
}

impl CsvShape {
    fn sample(&self, row: &CsvRow<'_>, last_s: f64) -> Result<RecordedSample, ReadError> {
        let cells = &self.cells;
        let moment = cells.moment(row)?;
        let time_s = self.axis.seconds(moment);
        let time_s =
            time_s.map_err(|what| cells.error(row, what, "give each row the same kind of time"))?;
        if time_s < last_s {
            return Err(cells.error(
                row,
                format!("time runs backwards, {time_s} s after {last_s} s"),
                "sort the rows, or cut the file where the clock was set; --skip-bad leaves such rows out",
            ));
        }
        let [pv, setpoint, output] = cells.values(row)?;
        Ok(RecordedSample {
            time_s,
            pv,
            setpoint,
            output,
            autotune: false,
            state: None,
        })
    }
}
