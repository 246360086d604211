//! The rows of a source as they stand in its files, one after the other, every cell as it was
//! written.

use std::collections::VecDeque;
use std::path::{Path, PathBuf};

use chrono::{DateTime, Utc};

use super::csv_cell::Moment;
use super::csv_columns::{CsvColumns, counts_of};
use super::csv_file::{CsvFile, CsvRow, Writer};
use super::read_error::ReadError;
use super::recording_source::{day_files, loops_of};
use super::wall::WallClock;

/// The table of one loop, or of a CSV.
#[derive(Clone, Debug)]
pub struct Table {
    /// The loop's name, or the file's without its ending.
    pub name: String,
    /// Wall time beside `elapsed_s`; `None` for a CSV.
    pub wall: Option<WallClock>,
    /// Its files in order.
    pub files: Vec<PathBuf>,
    /// Its columns: those of all its files, in the order first met.
    pub columns: Vec<String>,
    writer: Writer,
}

/// The tables of a recording's loops, of the one loop whose folder `path` is, or of a CSV.
///
/// # Errors
/// It is no recording, or a file cannot be read; unless `skip_bad`, an event that cannot be read.
pub fn tables(path: &Path, skip_bad: bool) -> Result<Vec<Table>, ReadError> {
    if !path.is_dir() {
        let name = path.file_stem().unwrap_or_default().to_string_lossy();
        let table = Table::new(&name, None, vec![path.to_owned()], Writer::Anybody)?;
        if table.columns.is_empty() {
            let help = "a CSV needs a header row and at least one sample";
            return Err(ReadError::of_file(path, "is empty", help));
        }
        return Ok(vec![table]);
    }
    let (opened, loops) = loops_of(path)?;
    let table = |name: String| {
        let folder = opened.folder.join(&name);
        let wall = WallClock::of_loop(&folder, opened.facts.began, skip_bad)?;
        let files = day_files(&folder)?;
        Table::new(&name, Some(wall), files, Writer::Emberline)
    };
    loops.iter().map(|it| table(it.name.to_string())).collect()
}

impl Table {
    fn new(
        name: &str,
        wall: Option<WallClock>,
        files: Vec<PathBuf>,
        writer: Writer,
    ) -> Result<Self, ReadError> {
        let mut columns: Vec<String> = Vec::new();
        for file in &files {
            let header = CsvFile::open(file, writer)?.header().to_vec();
            if files.len() == 1 {
                // Whatever the names, no column is left out.
                columns = header;
                break;
            }
            let new = header.into_iter().filter(|it| !columns.contains(it));
            let new: Vec<String> = new.collect();
            columns.extend(new);
        }
        Ok(Self {
            name: name.to_owned(),
            wall,
            files,
            columns,
            writer,
        })
    }

    /// The places among [`Table::columns`] of those that are named, with the time; all of them where
    /// none is named or the table is a recording's.
    ///
    /// # Errors
    /// A named column is not there.
    pub fn chosen(&self, named: &CsvColumns) -> Result<Vec<usize>, ReadError> {
        let all = || (0..self.columns.len()).collect();
        let (Writer::Anybody, Some(file)) = (self.writer, self.files.first()) else {
            return Ok(all());
        };
        let mut places = named.named_places(file, &self.columns)?;
        if places.is_empty() {
            return Ok(all());
        }
        places.push(self.time_place(named)?);
        places.sort_unstable();
        places.dedup();
        Ok(places)
    }

    /// Where the time is: elapsed seconds if there are any.
    fn time_place(&self, named: &CsvColumns) -> Result<usize, ReadError> {
        let file = self.files.first().map_or(Path::new(""), PathBuf::as_path);
        named.time_place(file, &self.columns)
    }

    /// Reads the rows from the first. `with_time` also reads each row's time.
    ///
    /// # Errors
    /// A time is wanted, and no column is surely the time.
    pub fn rows(&self, named: &CsvColumns, with_time: bool) -> Result<TableRows<'_>, ReadError> {
        let has_time = with_time && !self.columns.is_empty();
        let time = has_time.then(|| self.time_place(named)).transpose()?;
        let is_elapsed = |at: usize| self.columns[at] == "elapsed_s";
        let beside = || self.columns.iter().position(|it| it == "time");
        let wall = time.and_then(|at| if is_elapsed(at) { beside() } else { Some(at) });
        Ok(TableRows {
            table: self,
            files: self.files.iter().collect(),
            open: None,
            axis: Axis {
                time,
                wall,
                first: None,
            },
        })
    }
}

/// One row.
#[derive(Clone, Debug)]
pub struct TableRow {
    /// The cells in the order of [`Table::columns`], empty where the row's file has no such column.
    pub cells: Vec<String>,
    /// The time in the record's own seconds: its elapsed seconds, or those since the first row.
    pub time_s: Option<f64>,
    /// Wall time, and where it stands among the cells.
    pub wall: Option<(usize, DateTime<Utc>)>,
    /// Wall time that does not say its zone is taken as UTC.
    pub zone_is_assumed: bool,
    /// Whether a comma may stand for the decimal point in it.
    pub may_have_decimal_commas: bool,
}

/// The rows of a table, being read.
pub struct TableRows<'a> {
    table: &'a Table,
    files: VecDeque<&'a PathBuf>,
    open: Option<OpenFile<'a>>,
    axis: Axis,
}

impl TableRows<'_> {
    /// The next row; inside it, what makes this one row unreadable.
    ///
    /// # Errors
    /// What makes it impossible to read on.
    pub fn next_row(&mut self) -> Result<Option<Result<TableRow, ReadError>>, ReadError> {
        loop {
            let open = match &mut self.open {
                Some(open) => open,
                None => match self.files.pop_front() {
                    Some(path) => self.open.insert(OpenFile::new(path, self.table)?),
                    None => return Ok(None),
                },
            };
            match open.file.next_row()? {
                Some(row) => {
                    let (way, axis) = (&open.way, &mut self.axis);
                    return Ok(Some(row.and_then(|it| way.row(&it, self.table, axis))));
                }
                None => self.open = None,
            }
        }
    }
}

struct OpenFile<'a> {
    file: CsvFile,
    way: Way<'a>,
}

/// The way of a file's cells into a table.
struct Way<'a> {
    path: &'a Path,
    /// Where each cell goes.
    to: Vec<usize>,
    may_have_decimal_commas: bool,
}

impl<'a> OpenFile<'a> {
    fn new(path: &'a Path, table: &Table) -> Result<Self, ReadError> {
        let file = CsvFile::open(path, table.writer)?;
        let header = file.header();
        let place = |name: &String| table.columns.iter().position(|it| it == name);
        let to = if header == table.columns {
            (0..header.len()).collect()
        } else {
            header.iter().filter_map(place).collect()
        };
        let may_have_decimal_commas = file.may_have_decimal_commas();
        let way = Way {
            path,
            to,
            may_have_decimal_commas,
        };
        Ok(Self { file, way })
    }
}

impl Way<'_> {
    fn row(&self, row: &CsvRow<'_>, table: &Table, axis: &mut Axis) -> Result<TableRow, ReadError> {
        let bad = |what: String, help| ReadError::of_row(self.path, row.number, what, help);
        let mut cells = vec![String::new(); table.columns.len()];
        for (cell, to) in row.cells.iter().zip(&self.to) {
            cell.clone_into(&mut cells[*to]);
        }
        let may_have_decimal_commas = self.may_have_decimal_commas;
        let moment = |place: usize| {
            let counts = counts_of(&table.columns[place]);
            Moment::parse(&cells[place], may_have_decimal_commas, counts).ok_or_else(|| {
                let what = format!("{:?} is no time", cells[place]);
                bad(
                    what,
                    "a time is RFC 3339 or a number of seconds; --skip-bad reads on",
                )
            })
        };
        let time = axis.time.map(moment).transpose()?;
        let wall = axis.wall.map(moment).transpose()?;
        Ok(TableRow {
            time_s: time.map(|it| axis.seconds(it)),
            wall: axis.wall.zip(wall.and_then(Moment::wall)),
            zone_is_assumed: matches!(wall, Some(Moment::WallWithoutZone(_))),
            cells,
            may_have_decimal_commas,
        })
    }
}

/// Which columns hold the time, and when the first row was.
struct Axis {
    time: Option<usize>,
    wall: Option<usize>,
    first: Option<DateTime<Utc>>,
}

impl Axis {
    fn seconds(&mut self, moment: Moment) -> f64 {
        match moment {
            Moment::Seconds(seconds) => seconds,
            Moment::Wall(wall) | Moment::WallWithoutZone(wall) => {
                (wall - *self.first.get_or_insert(wall)).as_seconds_f64()
            }
        }
    }
}
