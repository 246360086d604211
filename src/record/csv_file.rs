//! One CSV file, row by row: memory stays small, whatever is in it.

use std::fs::File;
use std::io::{self, Read};
use std::mem;
use std::path::{Path, PathBuf};

use csv::{ByteRecord, StringRecord};
use csv_core::ReadRecordResult;

use super::read_error::ReadError;
use super::window::Window;

/// Longest row that is read, in bytes; no recorder writes one like it.
const LONGEST_ROW: usize = 1 << 20;
const BYTE_ORDER_MARK: &[u8] = "\u{feff}".as_bytes();
const SEPARATORS: [(u8, &str); 3] = [(b'\t', "tabs"), (b';', "semicolons"), (b',', "commas")];

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
    window: Window,
    parser: csv_core::Reader,
    text: Vec<u8>,
    ends: Vec<usize>,
    record: StringRecord,
    behind: Behind,
}

/// A row with the line it begins in, counted from 1 for the header.
#[derive(Clone, Copy, Debug)]
pub(super) struct CsvRow<'a> {
    pub(super) number: u64,
    pub(super) cells: &'a StringRecord,
}

/// Where the next row begins, seen from the one that was read last.
#[derive(Clone, Copy, Debug)]
enum Behind {
    Bytes(usize),
    /// Behind a line that is too long to be kept.
    ThisLine,
}

/// What was found where a row may be.
enum Found {
    /// So many bytes; its cells lie in `text`, so many of them.
    Row(usize, usize),
    TooLong,
    End,
}

impl CsvFile {
    /// Opens a file and reads its header.
    pub(super) fn open(path: &Path, writer: Writer) -> Result<Self, ReadError> {
        let file = File::open(path).map_err(|error| unreadable(path, &error))?;
        Self::of(path, writer, Box::new(file))
    }

    /// Reads the header of what is called `path`.
    pub(super) fn of(
        path: &Path,
        writer: Writer,
        source: Box<dyn Read + Send>,
    ) -> Result<Self, ReadError> {
        let mut window = Window::new(source);
        window.fill().map_err(|error| unreadable(path, &error))?;
        let beginning = window.unread();
        if beginning.starts_with(&[0xff, 0xfe]) || beginning.starts_with(&[0xfe, 0xff]) {
            let help = "save it as a CSV in UTF-8";
            return Err(ReadError::of_file(path, "is in UTF-16", help));
        }
        let separator = match writer {
            Writer::Emberline => b',',
            Writer::Anybody => separator(beginning),
        };
        if beginning.starts_with(BYTE_ORDER_MARK) {
            window.advance(BYTE_ORDER_MARK.len());
        }
        let mut opened = Self {
            path: path.to_owned(),
            writer,
            separator,
            header: Vec::new(),
            window,
            parser: csv_core::ReaderBuilder::new().delimiter(separator).build(),
            text: vec![0; 1 << 10],
            ends: vec![0; 1 << 6],
            record: StringRecord::new(),
            behind: Behind::Bytes(0),
        };
        if let Some(header) = opened.next_row()? {
            opened.header = header?.cells.iter().map(str::to_owned).collect();
        }
        Ok(opened)
    }

    /// What it is called.
    pub(super) fn path(&self) -> &Path {
        &self.path
    }

    /// The columns' names; none in an empty file.
    pub(super) fn header(&self) -> &[String] {
        &self.header
    }

    /// Whether a comma may stand for the decimal point.
    pub(super) fn may_have_decimal_commas(&self) -> bool {
        self.separator != b','
    }

    /// The next row; inside it, what makes this one row unreadable: it is torn, too long, no text.
    ///
    /// Such a row ends with its first line, even where a quote that is never closed makes one row of
    /// all that follows: reading on loses no other.
    ///
    /// # Errors
    /// The file cannot be read any further.
    pub(super) fn next_row(&mut self) -> Result<Option<Result<CsvRow<'_>, ReadError>>, ReadError> {
        let found = self
            .find()
            .map_err(|error| unreadable(&self.path, &error))?;
        let number = self.window.line();
        let read = match found {
            Found::End => return Ok(None),
            Found::TooLong => Err(self.too_long()),
            Found::Row(bytes, cells) => {
                if self.writer == Writer::Emberline && self.is_torn(bytes) {
                    self.behind = Behind::Bytes(bytes);
                    return Ok(None);
                }
                self.take(bytes, cells)
            }
        };
        if let Err(error) = read {
            return Ok(Some(Err(error)));
        }
        let cells = &self.record;
        Ok(Some(Ok(CsvRow { number, cells })))
    }

    /// The bytes that were read ahead behind the last row, for those who know how rows look, and the
    /// number of the row they begin with.
    pub(super) fn ahead(&mut self) -> Result<(&[u8], u64), ReadError> {
        self.go_on()
            .map_err(|error| unreadable(&self.path, &error))?;
        Ok((self.window.unread(), self.window.line()))
    }

    /// Goes on behind so many bytes of [`ahead`](Self::ahead): whole lines that end with LF alone.
    pub(super) fn used(&mut self, bytes: usize, lines: usize) {
        self.window.advance_lines(bytes, lines);
    }

    fn go_on(&mut self) -> io::Result<()> {
        match mem::replace(&mut self.behind, Behind::Bytes(0)) {
            Behind::Bytes(count) => self.window.advance(count),
            Behind::ThisLine => self.window.skip_line()?,
        }
        self.window.skip_line_ends()
    }

    /// Parses one row and leaves its bytes in the window.
    fn find(&mut self) -> io::Result<Found> {
        self.go_on()?;
        self.parser.reset();
        let (mut read, mut written, mut cells) = (0, 0, 0);
        loop {
            if self.window.unread().len() == read && !self.window.is_at_end() {
                self.window.fill()?;
            }
            let (result, bytes, put, ends) = self.parser.read_record(
                &self.window.unread()[read..],
                &mut self.text[written..],
                &mut self.ends[cells..],
            );
            read += bytes;
            written += put;
            cells += ends;
            if read > LONGEST_ROW {
                return Ok(Found::TooLong);
            }
            match result {
                ReadRecordResult::Record => return Ok(Found::Row(read, cells)),
                ReadRecordResult::End => return Ok(Found::End),
                ReadRecordResult::InputEmpty => {}
                ReadRecordResult::OutputFull => self.text.resize(2 * self.text.len(), 0),
                ReadRecordResult::OutputEndsFull => self.ends.resize(2 * self.ends.len(), 0),
            }
        }
    }

    fn too_long(&mut self) -> ReadError {
        let first_line = memchr::memchr2(b'\r', b'\n', self.window.unread());
        self.behind = first_line.map_or(Behind::ThisLine, Behind::Bytes);
        self.bad(
            &format!("the row has more than {LONGEST_ROW} bytes"),
            "a quote that is never closed, or no CSV? --skip-bad reads on behind the line",
        )
    }

    /// Whether the file ends in the row that was found, before its line end.
    fn is_torn(&self, bytes: usize) -> bool {
        let has_end = matches!(
            self.window.unread()[..bytes].last(),
            Some(b'\r' | b'\n') | None
        );
        self.window.is_at_end() && !has_end && !self.is_open(bytes)
    }

    /// Whether a quote that is never closed makes one row of all lines up to the file's end.
    fn is_open(&self, bytes: usize) -> bool {
        let unread = self.window.unread();
        let is_last = self.window.is_at_end() && unread.len() == bytes;
        let has_several_lines = || {
            let end = memchr::memchr2(b'\r', b'\n', unread).unwrap_or(bytes);
            !unread[end..].trim_ascii().is_empty()
        };
        is_last && has_several_lines() && memchr::memchr_iter(b'"', unread).count() % 2 == 1
    }

    /// Makes the cells of the row that was found.
    fn take(&mut self, bytes: usize, cells: usize) -> Result<(), ReadError> {
        let row = &self.window.unread()[..bytes];
        let first_line = memchr::memchr2(b'\r', b'\n', row).unwrap_or(bytes);
        let text = &self.text[..self.ends[cells - 1]];
        let is_damaged = memchr::memchr(0, text).is_some();

        let mut record = mem::take(&mut self.record).into_byte_record();
        record.clear();
        let mut begin = 0;
        for end in &self.ends[..cells] {
            record.push_field(&text[begin..*end]);
            begin = *end;
        }
        if self.writer == Writer::Anybody {
            record.trim();
        }
        // Unless the row is good, what follows its first line is not part of it.
        self.behind = Behind::Bytes(first_line);
        if self.is_open(bytes) {
            let help = "the file was altered or damaged there; --skip-bad reads on behind the line";
            return Err(self.bad("a quote in the row is never closed", help));
        }
        if is_damaged {
            return Err(self.bad("there are NUL bytes in the row", DAMAGED));
        }
        if !self.header.is_empty() && cells != self.header.len() {
            return Err(self.torn(&record));
        }
        self.record = match StringRecord::from_byte_record(record) {
            Ok(cells) => cells,
            Err(_) if self.writer == Writer::Emberline => {
                return Err(self.bad("the row is not UTF-8", DAMAGED));
            }
            Err(error) => latin1(&error.into_byte_record()),
        };
        self.behind = Behind::Bytes(bytes);
        Ok(())
    }

    fn torn(&self, record: &ByteRecord) -> ReadError {
        let what = format!(
            "{} cells where the header has {}",
            record.len(),
            self.header.len()
        );
        let other = |(sign, _): &&(u8, &str)| {
            *sign != self.separator && record.len() == 1 && record[0].contains(sign)
        };
        let own = SEPARATORS.iter().find(|(sign, _)| *sign == self.separator);
        if let (Some((_, other)), Some((_, own))) = (SEPARATORS.iter().find(other), own) {
            let help = format!("{other} stand between its cells, {own} between the header's");
            return self.bad(&what, &help);
        }
        match self.writer {
            Writer::Emberline => self.bad(&what, RESTORE),
            Writer::Anybody => {
                self.bad(&what, "the row is torn; --skip-bad reads on over such rows")
            }
        }
    }

    fn bad(&self, what: &str, help: &str) -> ReadError {
        ReadError::of_row(&self.path, self.window.line(), what, help)
    }

    /// The memory that a row takes, in bytes.
    #[cfg(test)]
    fn size(&self) -> usize {
        self.window.size() + self.text.capacity() + self.ends.capacity() * size_of::<usize>()
    }
}

const DAMAGED: &str = "the file was altered or damaged there; --skip-bad reads on over such rows";
/// What to do about a row of a recording.
pub(super) const RESTORE: &str =
    "the file was altered or damaged; 'emberline verify' tells more, --skip-bad reads on over it";

fn unreadable(path: &Path, error: &io::Error) -> ReadError {
    let help = "check the path and its permissions";
    ReadError::of_file(path, format!("cannot be read: {error}"), help)
}

/// Tab, semicolon or comma, whichever the header has, in this order.
fn separator(beginning: &[u8]) -> u8 {
    let end = memchr::memchr2(b'\n', b'\r', beginning).unwrap_or(beginning.len());
    let header = &beginning[..end];
    let found = SEPARATORS.iter().find(|(sign, _)| header.contains(sign));
    found.map_or(b',', |(sign, _)| *sign)
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

#[cfg(test)]
#[path = "csv_file_tests.rs"]
mod tests;
