//! The rows of tables as one table, with the decimal sign and the times that were asked for.

use std::borrow::Cow;
use std::io::{self, Write};

use chrono::Local;

use crate::cli::reading::{ReadingArgs, When};
use crate::record::{CsvColumns, ReadError, Table, TableRow, WallClock};

/// The column that tells loops apart.
const LOOP_COLUMN: &str = "loop";

#[derive(Clone, Copy, Debug, Default, PartialEq, Eq, clap::ValueEnum)]
pub(super) enum Decimal {
    #[default]
    Point,
    Comma,
}

#[derive(Clone, Copy, Debug, PartialEq, Eq, clap::ValueEnum)]
pub(super) enum Separator {
    Comma,
    Semicolon,
    Tab,
}

impl Separator {
    fn byte(self) -> u8 {
        match self {
            Self::Comma => b',',
            Self::Semicolon => b';',
            Self::Tab => b'\t',
        }
    }
}

/// What is to be written, and how.
pub(super) struct Sheet<'a> {
    pub(super) tables: &'a [Table],
    pub(super) reading: &'a ReadingArgs,
    pub(super) decimal: Decimal,
    pub(super) separator: Separator,
    pub(super) local_time: bool,
}

/// What was written.
#[derive(Debug, Default)]
pub(super) struct Written {
    pub(super) columns: Vec<String>,
    pub(super) rows: u64,
    /// Damaged rows.
    pub(super) left_out: u64,
    /// Whether times that do not say their zone were taken as UTC.
    pub(super) zone_is_assumed: bool,
}

/// Why nothing was written.
pub(super) enum Failure {
    /// The source cannot be read.
    Read(ReadError),
    /// What was asked for cannot be had.
    Wish(String),
    /// The file cannot be written.
    Write(io::Error),
}

impl From<ReadError> for Failure {
    fn from(error: ReadError) -> Self {
        Self::Read(error)
    }
}

impl From<io::Error> for Failure {
    fn from(error: io::Error) -> Self {
        Self::Write(error)
    }
}

impl From<csv::Error> for Failure {
    fn from(error: csv::Error) -> Self {
        Self::Write(error.into())
    }
}

/// One table's way into the sheet.
struct Part<'a> {
    table: &'a Table,
    /// For each of the sheet's columns where it stands in the table.
    from: Vec<Option<usize>>,
}

impl Sheet<'_> {
    pub(super) fn write(&self, out: &mut dyn Write) -> Result<Written, Failure> {
        let (columns, parts) = self.parts()?;
        let mut out = csv::WriterBuilder::new()
            .delimiter(self.separator.byte())
            .from_writer(out);
        let has_loops = parts.len() > 1;
        let mut written = Written {
            columns,
            ..Written::default()
        };
        if has_loops {
            written.columns.insert(0, LOOP_COLUMN.to_owned());
        }
        out.write_record(&written.columns)?;
        for part in &parts {
            let front = has_loops.then_some(part.table.name.as_str());
            self.write_part(part, front, &mut out, &mut written)?;
        }
        out.flush()?;
        Ok(written)
    }

    /// The columns of all tables, in the order first met, and where each table has them.
    fn parts(&self) -> Result<(Vec<String>, Vec<Part<'_>>), Failure> {
        let named = self.reading.columns();
        if let [table] = self.tables {
            let places = table.chosen(&named)?;
            let columns = places.iter().map(|at| table.columns[*at].clone()).collect();
            let from = places.into_iter().map(Some).collect();
            return Ok((columns, vec![Part { table, from }]));
        }
        let mut columns: Vec<String> = Vec::new();
        for column in self.tables.iter().flat_map(|it| &it.columns) {
            if !columns.contains(column) {
                columns.push(column.clone());
            }
        }
        let part = |table| Part {
            table,
            from: columns.iter().map(|it| place(table, it)).collect(),
        };
        let parts = self.tables.iter().map(part).collect();
        Ok((columns, parts))
    }

    fn write_part<W: Write>(
        &self,
        part: &Part<'_>,
        front: Option<&str>,
        out: &mut csv::Writer<W>,
        written: &mut Written,
    ) -> Result<(), Failure> {
        let reading = self.reading;
        let is_cut = reading.from.is_some() || reading.to.is_some();
        let named: CsvColumns = reading.columns();
        let mut rows = part.table.rows(&named, is_cut || self.local_time)?;
        let mut cut = None;
        while let Some(row) = rows.next_row()? {
            let row = match row {
                Ok(row) => row,
                Err(_) if reading.skip_bad => {
                    written.left_out += 1;
                    continue;
                }
                Err(error) => return Err(error.into()),
            };
            let (from_s, to_s) = match cut {
                Some(cut) => cut,
                None => *cut.insert(self.cut(part.table, &row)?),
            };
            if row.time_s.is_some_and(|it| it < from_s || it > to_s) {
                continue;
            }
            if self.local_time && row.wall.is_none() {
                return Err(Failure::Wish(format!(
                    "{:?} has no wall time, only seconds\nhelp: leave out --local-time, or name the column with --time",
                    part.table.name
                )));
            }
            written.zone_is_assumed |= row.zone_is_assumed;
            if let Some(name) = front {
                out.write_field(name)?;
            }
            for from in &part.from {
                let cell = from.map_or(Cow::Borrowed(""), |at| self.cell(&row, at));
                out.write_field(cell.as_bytes())?;
            }
            out.write_record(None::<&[u8]>)?;
            written.rows += 1;
        }
        Ok(())
    }

    /// From when to when rows are wanted, in the table's own seconds.
    fn cut(&self, table: &Table, first: &TableRow) -> Result<(f64, f64), Failure> {
        let first_s = first.time_s.unwrap_or_default();
        let since = chrono::TimeDelta::milliseconds((first_s * 1e3).round() as i64);
        let began = first
            .wall
            .and_then(|(_, wall)| wall.checked_sub_signed(since));
        let wall = table.wall.clone().or(began.map(WallClock::beginning));
        let at = |when: Option<When>, otherwise| match when {
            Some(when) => when.on_axis(&table.name, first_s, wall.as_ref()),
            None => Ok(otherwise),
        };
        let from_s = at(self.reading.from, f64::NEG_INFINITY).map_err(Failure::Wish)?;
        let to_s = at(self.reading.to, f64::INFINITY).map_err(Failure::Wish)?;
        Ok((from_s, to_s))
    }

    fn cell<'a>(&self, row: &'a TableRow, at: usize) -> Cow<'a, str> {
        match row.wall {
            Some((place, wall)) if place == at && self.local_time => {
                let here = wall.with_timezone(&Local);
                let text = here.format("%Y-%m-%d %H:%M:%S%.3f").to_string();
                match self.decimal {
                    Decimal::Point => text.into(),
                    Decimal::Comma => text.replace('.', ",").into(),
                }
            }
            _ => with_sign(&row.cells[at], self.decimal, row.may_have_decimal_commas),
        }
    }
}

fn place(table: &Table, column: &str) -> Option<usize> {
    table.columns.iter().position(|it| it == column)
}

/// A number with the decimal sign that is wanted, its digits as they are; anything else unchanged.
fn with_sign(cell: &str, decimal: Decimal, may_have_decimal_commas: bool) -> Cow<'_, str> {
    let is_number = |text: &str| text.parse::<f64>().is_ok();
    match decimal {
        Decimal::Comma if cell.contains('.') && is_number(cell) => cell.replace('.', ",").into(),
        Decimal::Point if may_have_decimal_commas && cell.contains(',') => {
            let with_point = cell.replace(',', ".");
            if cell.contains('.') || !is_number(&with_point) {
                return cell.into();
            }
            with_point.into()
        }
        _ => cell.into(),
    }
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn only_the_sign_of_a_number_changes() {
        let comma = |cell| with_sign(cell, Decimal::Comma, false);
        assert_eq!(comma("21.40"), "21,40");
        assert_eq!(
            comma("-0.000000000000000000001"),
            "-0,000000000000000000001"
        );
        assert_eq!(comma("1.5e3"), "1,5e3");
        for as_it_is in [
            "",
            "21",
            "no-answer",
            "1.2.3",
            "2027-03-04T06:00:00.012Z",
            "a.b",
        ] {
            assert_eq!(comma(as_it_is), as_it_is);
        }
        let point = |cell| with_sign(cell, Decimal::Point, true);
        assert_eq!(point("21,40"), "21.40");
        assert_eq!(point("1.021,4"), "1.021,4");
        assert_eq!(point("open, then closed"), "open, then closed");
        assert_eq!(with_sign("21,40", Decimal::Point, false), "21,40");
    }
}
