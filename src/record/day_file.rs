//! One file of a loop's samples, read into blocks.

use std::path::{Path, PathBuf};
use std::sync::Arc;

use rust_decimal::Decimal;

use super::block::{Block, Blocks, RecordedSample, RowCounts};
use super::csv_file::{CsvFile, CsvRow, RESTORE, Writer};
use super::layout::{FIXED_COLUMNS, units_of_header};
use super::plain_rows::PlainRows;
use super::read_error::ReadError;
use super::recording_source::UNREADABLE;
use super::rows::Row;
use crate::map::{Map, Role};
use crate::number::Number;
use crate::sample::{Reading, State};
use crate::unit::{Degrees, Quantity};

/// What all files of one loop have in common.
#[derive(Debug)]
pub(super) struct Shape {
    map: Arc<Map>,
    points: usize,
    at: At,
    /// Of the process value in the first file that tells it; the temperatures of all files are in it.
    pub(super) unit: Option<Arc<str>>,
}

/// Which trend point is what.
#[derive(Debug)]
struct At {
    pv: Option<usize>,
    setpoint: Option<usize>,
    output: Option<usize>,
    autotune: Option<usize>,
}

impl Shape {
    /// Of a loop's files; `headers` are theirs, in order.
    pub(super) fn new<'h>(map: &Arc<Map>, headers: impl IntoIterator<Item = &'h [String]>) -> Self {
        let at = |role: Role| map.trend_points().position(|point| point.role == role);
        let at = At {
            pv: at(Role::ProcessValue),
            setpoint: at(Role::WorkingSetpoint).or_else(|| at(Role::Setpoint)),
            output: at(Role::Output),
            autotune: at(Role::AutotuneActive),
        };
        let mut shape = Self {
            map: Arc::clone(map),
            points: map.trend_points().count(),
            at,
            unit: None,
        };
        shape.unit = headers.into_iter().find_map(|header| shape.unit_in(header));
        shape
    }

    /// Whether rows have it; the setpoint is the one the controller works to.
    pub(super) fn has(&self, role: Role) -> bool {
        (0..self.points).any(|point| self.role(point) == Some(role))
    }

    /// The loop's map.
    pub(super) fn map(&self) -> &Map {
        &self.map
    }

    /// How many points a row has.
    pub(super) fn points(&self) -> usize {
        self.points
    }

    /// What a point is here: the setpoint is the one the controller works to.
    pub(super) fn role(&self, point: usize) -> Option<Role> {
        let at = &self.at;
        [
            (at.pv, Role::ProcessValue),
            (at.setpoint, Role::Setpoint),
            (at.output, Role::Output),
            (at.autotune, Role::AutotuneActive),
        ]
        .into_iter()
        .find(|(place, _)| *place == Some(point))
        .map(|(_, role)| role)
    }

    /// Whether a cell of the point that tells of autotunes says that one is under way.
    pub(super) fn is_active(&self, cell: &str) -> bool {
        let mut points = self.map.trend_points();
        let Some(point) = self.at.autotune.and_then(|index| points.nth(index)) else {
            return false;
        };
        cell.parse::<Decimal>().is_ok_and(|raw| {
            let reading = Reading::Good(Number::Decimal(raw));
            self.map.is_active(point, &reading) == Some(true)
        })
    }

    /// The process value's unit in a file with this header.
    fn unit_in(&self, header: &[String]) -> Option<Arc<str>> {
        let units = units_of_header(&self.map, header.iter().map(String::as_str));
        units.get(self.at.pv?).cloned().flatten()
    }

    /// How the temperatures of a file get into the loop's unit, where they are in another.
    fn conversion(&self, header: &[String]) -> Option<(Degrees, Degrees)> {
        let degrees = |unit: Option<Arc<str>>| Degrees::from_word(&unit?);
        let from = degrees(self.unit_in(header))?;
        let to = degrees(self.unit.clone())?;
        (from != to).then_some((from, to))
    }
}

/// A file that is being read.
pub(super) struct DayFile {
    path: PathBuf,
    file: CsvFile,
    shape: Arc<Shape>,
    plain: PlainRows,
    conversion: Option<(Degrees, Degrees)>,
    skip_bad: bool,
    last_s: f64,
    /// Tests read without, too: nothing else may come out.
    #[cfg(test)]
    looks_at_plain_rows: bool,
}

impl DayFile {
    /// Opens a file; `skip_bad` reads on over damaged rows and counts them.
    pub(super) fn open(path: &Path, shape: &Arc<Shape>, skip_bad: bool) -> Result<Self, ReadError> {
        Self::of(CsvFile::open(path, Writer::Emberline)?, shape, skip_bad)
    }

    pub(super) fn of(file: CsvFile, shape: &Arc<Shape>, skip_bad: bool) -> Result<Self, ReadError> {
        let (found, wanted) = (file.header().len(), shape.points + FIXED_COLUMNS.len());
        // A file without a header was never written to.
        if found != wanted && found != 0 {
            let what = format!("{found} columns where the recording's map gives {wanted}");
            return Err(ReadError::of_row(file.path(), 1, what, RESTORE));
        }
        Ok(Self {
            path: file.path().to_owned(),
            conversion: shape.conversion(file.header()),
            plain: PlainRows::new(shape),
            shape: Arc::clone(shape),
            file,
            skip_bad,
            last_s: f64::NEG_INFINITY,
            #[cfg(test)]
            looks_at_plain_rows: true,
        })
    }

    /// Takes rows as long as they look as a recorder writes them.
    fn plain_rows(&mut self, block: &mut Block) -> Result<(), ReadError> {
        #[cfg(test)]
        if !self.looks_at_plain_rows {
            return Ok(());
        }
        let (mut text, first_row) = self.file.ahead()?;
        let (before, rows_before) = (text.len(), block.samples.len());
        if block.samples.is_empty() {
            block.first_row = first_row;
        }
        while !block.is_full()
            && let Some((sample, length)) = self.plain.row(text, &self.shape)
            && sample.time_s >= self.last_s
        {
            if let Some(state) = sample.state.filter(|state| *state != State::Good) {
                block.counts.count(state.word(), 1);
            }
            block.counts.repeated += usize::from(sample.time_s <= self.last_s);
            self.last_s = sample.time_s;
            block.samples.push(convert(sample, self.conversion));
            text = &text[length..];
        }
        let (used, rows) = (before - text.len(), block.samples.len() - rows_before);
        block.counts.rows += rows;
        self.file.used(used, rows);
        Ok(())
    }

    /// Takes any row; whether there was one.
    fn any_row(&mut self, block: &mut Block) -> Result<bool, ReadError> {
        let Some(row) = self.file.next_row()? else {
            return Ok(false);
        };
        block.counts.rows += 1;
        let read = row.and_then(|row| {
            let read = sample(&self.path, &row, &self.shape, self.last_s)?;
            Ok((row.number, read))
        });
        match read {
            Ok((number, (sample, state))) => {
                if block.samples.is_empty() {
                    block.first_row = number;
                }
                if state != State::Good.word() {
                    block.counts.count(&state, 1);
                }
                block.counts.repeated += usize::from(sample.time_s <= self.last_s);
                self.last_s = sample.time_s;
                block.samples.push(convert(sample, self.conversion));
            }
            Err(_) if self.skip_bad => block.counts.count(UNREADABLE, 1),
            Err(error) => return Err(error),
        }
        Ok(true)
    }
}

impl Blocks for DayFile {
    fn next_block(&mut self, room: Vec<RecordedSample>) -> Result<Option<Block>, ReadError> {
        let mut block = Block {
            file: self.path.clone(),
            first_row: 0,
            samples: room,
            counts: RowCounts::default(),
        };
        loop {
            self.plain_rows(&mut block)?;
            if block.is_full() || !self.any_row(&mut block)? {
                break;
            }
        }
        Ok((block.counts.rows > 0).then_some(block))
    }
}

/// The sample of a row and the word of its state.
fn sample(
    path: &Path,
    row: &CsvRow<'_>,
    shape: &Shape,
    last_s: f64,
) -> Result<(RecordedSample, String), ReadError> {
    let number = row.number;
    let row = Row::parse(path, number, row.cells, shape.points)?;
    if row.elapsed_s < last_s {
        let what = format!("elapsed_s {} is before the row above it", row.elapsed_s);
        return Err(ReadError::of_row(path, number, what, BACKWARDS));
    }
    let value = |point: Option<usize>| {
        let value = point.map(|point| row.value(path, number, point));
        Ok(value.transpose()?.flatten().unwrap_or(f64::NAN))
    };
    let status = shape.at.autotune.and_then(|point| row.cells.get(point));
    let sample = RecordedSample {
        time_s: row.elapsed_s,
        pv: value(shape.at.pv)?,
        setpoint: value(shape.at.setpoint)?,
        output: value(shape.at.output)?,
        autotune: status.is_some_and(|cell| shape.is_active(cell)),
        state: State::from_word(&row.state),
    };
    Ok((sample, row.state))
}

/// What to do about time that runs backwards.
pub(super) const BACKWARDS: &str =
    "the file was altered or damaged; --skip-bad leaves such rows out";

/// The sample with its temperatures in the loop's unit.
fn convert(sample: RecordedSample, conversion: Option<(Degrees, Degrees)>) -> RecordedSample {
    let Some((from, to)) = conversion else {
        return sample;
    };
    let temperature = |value: f64| from.convert_f64(value, to, Quantity::Temperature);
    RecordedSample {
        pv: temperature(sample.pv),
        setpoint: temperature(sample.setpoint),
        ..sample
    }
}

#[cfg(test)]
#[path = "day_file_tests.rs"]
mod tests;
