//! The rows of a recording's files, read back.

use std::path::Path;

use chrono::{DateTime, Utc};
use csv::StringRecord;

use super::csv_file::{CsvFile, RESTORE, Writer};
use super::read_error::{ReadError, shown};

/// One row of a day file.
#[derive(Clone, Debug, PartialEq)]
pub(crate) struct Row {
    pub(crate) time: DateTime<Utc>,
    pub(crate) elapsed_s: f64,
    pub(crate) state: String,
    /// One cell for each trend point; empty for a missing value.
    pub(crate) cells: Vec<String>,
}

/// Every whole row of one of a recording's CSV files, header aside, with its row number; and how many
/// were left out, which only `skip_bad` allows.
///
/// A last line without a line end is still being written (or was torn by a crash) and is left out.
pub(crate) fn whole_rows(
    path: &Path,
    skip_bad: bool,
) -> Result<(Vec<(u64, StringRecord)>, usize), ReadError> {
    let mut file = CsvFile::open(path, Writer::Emberline)?;
    let (mut rows, mut left_out) = (Vec::new(), 0);
    while let Some(row) = file.next_row()? {
        match row {
            Ok(row) => rows.push((row.number, row.cells.clone())),
            Err(_) if skip_bad => left_out += 1,
            Err(error) => return Err(error),
        }
    }
    Ok((rows, left_out))
}

impl Row {
    /// Reads one row of `columns` points.
    pub(crate) fn parse(
        path: &Path,
        row: u64,
        record: &StringRecord,
        points: usize,
    ) -> Result<Self, ReadError> {
        let bad = |what: String| ReadError::of_row(path, row, what, RESTORE);
        if record.len() != points + 3 {
            return Err(bad(format!(
                "{} cells where the header has {}",
                record.len(),
                points + 3
            )));
        }
        let cell = |index: usize| record.get(index).unwrap_or_default();
        let time = DateTime::parse_from_rfc3339(cell(0))
            .map_err(|error| bad(format!("time {:?}: {error}", shown(cell(0)))))?;
        let elapsed_s: f64 = number(cell(1))
            .ok_or_else(|| bad(format!("elapsed_s {:?} is no number", shown(cell(1)))))?;
        Ok(Self {
            time: time.to_utc(),
            elapsed_s,
            state: cell(2).to_owned(),
            cells: record.iter().skip(3).map(str::to_owned).collect(),
        })
    }

    /// The value of one point; `None` for an empty cell.
    pub(crate) fn value(
        &self,
        path: &Path,
        row: u64,
        point: usize,
    ) -> Result<Option<f64>, ReadError> {
        match self.cells.get(point).map(String::as_str) {
            None | Some("") => Ok(None),
            Some(cell) => number(cell).map(Some).ok_or_else(|| {
                ReadError::of_row(
                    path,
                    row,
                    format!("{:?} is no number", shown(cell)),
                    RESTORE,
                )
            }),
        }
    }
}

fn number(cell: &str) -> Option<f64> {
    cell.parse().ok().filter(|number: &f64| number.is_finite())
}
