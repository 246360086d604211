//! One CSV file, row by row: memory stays small, whatever is in it.

use std::fs::File;
use std::io::{self, BufRead as _, BufReader, Read};
use std::path::{Path, PathBuf};

use csv::{ByteRecord, StringRecord};

use super::read_error::ReadError;

/// Longest row that is read, in bytes; no recorder writes one like it.
const LONGEST_ROW: usize = 1 << 20;
const BYTE_ORDER_MARK: &[u8] = "\u{feff}".as_bytes();

/// Who wrote a file.
#[derive(Clone, Copy, Debug, PartialEq, Eq)]
pub(super) enum Writer {
    /// A recording: commas, and a last line without a line end is still being written (or was torn
    /// by a crash) and is left out.
    Emberline,
    /// Anybody: comma, semicolon or tab, spaces around cells, any last line.
    Anybody,
}

/// A CSV file that is being read.
pub(super) struct CsvFile {
    path: PathBuf,
    writer: Writer,
    separator: u8,
    header: Vec<String>,
    rows: csv::Reader<Limited>,
    record: ByteRecord,
}

/// A row with its number, counted from 1 for the header.
#[derive(Clone, Debug)]
pub(super) struct CsvRow {
    pub(super) number: u64,
    pub(super) cells: StringRecord,
}

impl CsvFile {
    /// Opens a file and reads its header.
    pub(super) fn open(path: &Path, writer: Writer) -> Result<Self, ReadError> {
        let unreadable = |error: io::Error| {
            ReadError::of_file(
                path,
                format!("cannot be read: {error}"),
                "check the path and its permissions",
            )
        };
        let mut file = BufReader::with_capacity(1 << 16, File::open(path).map_err(unreadable)?);
        let beginning = file.fill_buf().map_err(unreadable)?;
        if beginning.starts_with(&[0xff, 0xfe]) || beginning.starts_with(&[0xfe, 0xff]) {
            let help = "save it as a CSV in UTF-8";
            return Err(ReadError::of_file(path, "is in UTF-16", help));
        }
        let has_mark = beginning.starts_with(BYTE_ORDER_MARK);
        let separator = match writer {
            Writer::Emberline => b',',
            Writer::Anybody => separator(beginning),
        };
        if has_mark {
            file.consume(BYTE_ORDER_MARK.len());
        }
        let trim = match writer {
            Writer::Emberline => csv::Trim::None,
            Writer::Anybody => csv::Trim::All,
        };
        let rows = csv::ReaderBuilder::new()
            .delimiter(separator)
            .flexible(true)
            .has_headers(false)
            .trim(trim)
            .from_reader(Limited::new(file));
        let mut opened = Self {
            path: path.to_owned(),
            writer,
            separator,
            header: Vec::new(),
            rows,
            record: ByteRecord::new(),
        };
        if let Some(header) = opened.next_row()? {
            opened.header = header?.cells.iter().map(str::to_owned).collect();
        }
        Ok(opened)
    }

    /// The columns' names; none in an empty file.
    pub(super) fn header(&self) -> &[String] {
        &self.header
    }

    /// Whether a comma may stand for the decimal point.
    pub(super) fn may_have_decimal_commas(&self) -> bool {
        self.separator != b','
    }

    /// The next row; inside it, what makes this one row unreadable.
    ///
    /// # Errors
    /// What makes it impossible to read on.
    pub(super) fn next_row(&mut self) -> Result<Option<Result<CsvRow, ReadError>>, ReadError> {
        let line = self.rows.position().line();
        self.rows.get_mut().left = LONGEST_ROW;
        let is_there = self.rows.read_byte_record(&mut self.record);
        let is_there = is_there.map_err(|error| {
            let help = "the file is damaged there (a quote that is never closed?), or is no CSV";
            ReadError::of_row(&self.path, line, error.to_string(), help)
        })?;
        if !is_there || (self.writer == Writer::Emberline && self.rows.get_ref().ended_torn) {
            return Ok(None);
        }
        let number = self.record.position().map_or(line, csv::Position::line);
        let bad = |what: &str| ReadError::of_row(&self.path, number, what, DAMAGED);
        if self.record.as_slice().contains(&0) {
            return Ok(Some(Err(bad("there are NUL bytes in the row"))));
        }
        let cells = match StringRecord::from_byte_record(self.record.clone()) {
            Ok(cells) => cells,
            Err(_) if self.writer == Writer::Emberline => {
                return Ok(Some(Err(bad("the row is not UTF-8"))));
            }
            Err(_) => latin1(&self.record),
        };
        Ok(Some(Ok(CsvRow { number, cells })))
    }
}

const DAMAGED: &str = "the file was altered or damaged there; --skip-bad reads on over such rows";

/// Tab, semicolon or comma, whichever the header has, in this order.
fn separator(beginning: &[u8]) -> u8 {
    let end = memchr::memchr2(b'\n', b'\r', beginning).unwrap_or(beginning.len());
    let header = &beginning[..end];
    let found = [b'\t', b';'].into_iter().find(|it| header.contains(it));
    found.unwrap_or(b',')
}

/// Bytes that are not UTF-8 are Latin-1, in which older recorders write a degree sign.
fn latin1(record: &ByteRecord) -> StringRecord {
    let cell = |cell: &[u8]| {
        cell.iter()
            .map(|byte| char::from(*byte))
            .collect::<String>()
    };
    record.iter().map(cell).collect()
}

/// A file of which only so much is read at once.
struct Limited {
    file: BufReader<File>,
    left: usize,
    last: u8,
    /// The end was reached, and no line end stood there.
    ended_torn: bool,
}

impl Limited {
    fn new(file: BufReader<File>) -> Self {
        Self {
            file,
            left: LONGEST_ROW,
            last: b'\n',
            ended_torn: false,
        }
    }
}

impl Read for Limited {
    fn read(&mut self, into: &mut [u8]) -> io::Result<usize> {
        if self.left == 0 {
            return Err(io::Error::other(format!(
                "the row has more than {LONGEST_ROW} bytes"
            )));
        }
        let most = into.len().min(self.left);
        let count = self.file.read(&mut into[..most])?;
        self.left -= count;
        match into[..count].last() {
            Some(last) => self.last = *last,
            None => self.ended_torn = self.last != b'\n',
        }
        Ok(count)
    }
}
