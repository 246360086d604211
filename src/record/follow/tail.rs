//! A growing file, read row by row.

use std::fs::File;
use std::io::{self, Read, Seek, SeekFrom};
use std::path::{Path, PathBuf};

use csv::StringRecord;

use crate::record::read_error::ReadError;

/// So many bytes are read at once.
const PIECE: u64 = 64 << 10;

/// A row and its number, counted from 1 for the header.
pub(super) type Numbered = (u64, StringRecord);

/// A file and how far it has been read.
#[derive(Debug)]
pub(super) struct Tail {
    pub(super) path: PathBuf,
    /// In bytes, to the end of a row.
    read: u64,
    /// Rows, the header among them.
    rows: u64,
    /// Whether all whole rows that were there at the last look have been read.
    pub(super) is_at_end: bool,
}

impl Tail {
    pub(super) fn new(path: PathBuf) -> Self {
        Self {
            path,
            read: 0,
            rows: 0,
            is_at_end: false,
        }
    }

    /// The next whole rows, not many at once; the header is the first of a file.
    pub(super) fn next_rows(&mut self) -> Result<Vec<Numbered>, ReadError> {
        let mut piece = PIECE;
        loop {
            let added = read_from(&self.path, &mut self.read, piece).map_err(|error| {
                let what = format!("could not be read: {error}");
                ReadError::of_file(&self.path, what, "is the recording still there?")
            })?;
            let whole = end_of_rows(&added);
            self.is_at_end = (added.len() as u64) < piece;
            if whole > 0 || self.is_at_end {
                self.read += whole as u64;
                return self.parse(&added[..whole]);
            }
            // A row that is longer than a piece.
            piece *= 2;
        }
    }

    fn parse(&mut self, whole: &[u8]) -> Result<Vec<Numbered>, ReadError> {
        let mut rows = csv::ReaderBuilder::new()
            .flexible(true)
            .has_headers(false)
            .from_reader(whole);
        let mut numbered = Vec::new();
        for row in rows.records() {
            self.rows += 1;
            let damaged = |error: csv::Error| {
                let help = "the file was altered or damaged";
                ReadError::of_row(&self.path, self.rows, error.to_string(), help)
            };
            numbered.push((self.rows, row.map_err(damaged)?));
        }
        Ok(numbered)
    }
}

/// Reads on; after a power cut a file may be shorter than it was.
fn read_from(path: &Path, from: &mut u64, at_most: u64) -> io::Result<Vec<u8>> {
    let mut file = File::open(path)?;
    *from = (*from).min(file.metadata()?.len());
    file.seek(SeekFrom::Start(*from))?;
    let mut added = Vec::new();
    file.take(at_most).read_to_end(&mut added)?;
    Ok(added)
}

/// Where the last whole row ends; a line end between quotes is none.
fn end_of_rows(bytes: &[u8]) -> usize {
    let mut is_quoted = false;
    let mut end = 0;
    for (at, byte) in bytes.iter().enumerate() {
        match byte {
            b'"' => is_quoted = !is_quoted,
            b'\n' if !is_quoted => end = at + 1,
            _ => {}
        }
    }
    end
}

#[cfg(test)]
mod tests {
    use std::fs;
    use std::io::Write as _;

    use super::*;

    fn cells(rows: Vec<Numbered>) -> Vec<String> {
        rows.into_iter().map(|(_, row)| row[0].to_owned()).collect()
    }

    #[test]
    fn a_row_is_given_once_and_when_it_is_whole() {
        let folder = tempfile::tempdir().unwrap();
        let path = folder.path().join("a.csv");
        let mut file = File::create(&path).unwrap();
        let mut tail = Tail::new(path.clone());
        assert!(tail.next_rows().unwrap().is_empty());
        file.write_all(b"time\n1\n2").unwrap();
        assert_eq!(cells(tail.next_rows().unwrap()), ["time", "1"]);
        file.write_all(b"2\n\"3\nand").unwrap();
        assert_eq!(cells(tail.next_rows().unwrap()), ["22"]);
        file.write_all(b" more\"\n").unwrap();
        assert_eq!(tail.next_rows().unwrap()[0].0, 4);
        // A torn end that was set aside.
        fs::write(&path, "time\n1\n").unwrap();
        assert!(tail.next_rows().unwrap().is_empty());
        file = fs::OpenOptions::new().append(true).open(&path).unwrap();
        file.write_all(b"5\n").unwrap();
        assert_eq!(cells(tail.next_rows().unwrap()), ["5"]);
    }

    #[test]
    fn a_large_file_comes_in_pieces() {
        let folder = tempfile::tempdir().unwrap();
        let path = folder.path().join("a.csv");
        let row = |n: u32| format!("{n},{}\n", "x".repeat(n as usize % 300));
        let long = format!("long,{}\n", "x".repeat(3 * PIECE as usize));
        let text: String = (0..5000).map(row).chain([long]).collect();
        fs::write(&path, &text).unwrap();
        let (mut tail, mut all, mut most) = (Tail::new(path), Vec::new(), 0);
        while !tail.is_at_end {
            let rows = tail.next_rows().unwrap();
            most = most.max(rows.len());
            all.extend(cells(rows));
        }
        let expected = (0..5000).map(|n| n.to_string());
        let expected: Vec<String> = expected.chain(["long".to_owned()]).collect();
        assert_eq!(all, expected);
        assert!(most < 4000, "{most} rows at once");
    }
}
