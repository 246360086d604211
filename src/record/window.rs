//! The bytes of a file that were read and are not used yet.

use std::io::{self, Read};
use std::ops::Range;

/// So much is read at first: a header and a few rows.
const FIRST: usize = 1 << 13;
/// So much is read at once behind that.
const CHUNK: usize = 1 << 17;

/// A file from which bytes are used from the front.
pub(super) struct Window {
    source: Box<dyn Read + Send>,
    bytes: Vec<u8>,
    unread: Range<usize>,
    is_at_end: bool,
    /// Counted from 1: the line of the first unread byte.
    line: u64,
    /// The byte before it.
    last: u8,
}

impl Window {
    pub(super) fn new(source: Box<dyn Read + Send>) -> Self {
        Self {
            source,
            bytes: vec![0; FIRST],
            unread: 0..0,
            is_at_end: false,
            line: 1,
            last: b'\n',
        }
    }

    pub(super) fn unread(&self) -> &[u8] {
        &self.bytes[self.unread.clone()]
    }

    pub(super) fn line(&self) -> u64 {
        self.line
    }

    /// Whether no more will come than is unread.
    pub(super) fn is_at_end(&self) -> bool {
        self.is_at_end
    }

    /// Reads on; what is unread stays.
    pub(super) fn fill(&mut self) -> io::Result<()> {
        self.bytes.copy_within(self.unread.clone(), 0);
        self.unread = 0..self.unread.len();
        let end = self.unread.end;
        if end > 0 && self.bytes.len() - end < CHUNK / 2 {
            self.bytes.resize(end + CHUNK, 0);
        }
        let count = loop {
            match self.source.read(&mut self.bytes[end..]) {
                Err(error) if error.kind() == io::ErrorKind::Interrupted => {}
                read => break read?,
            }
        };
        self.unread.end += count;
        self.is_at_end = count == 0;
        Ok(())
    }

    /// Uses up bytes, whatever is in them.
    pub(super) fn advance(&mut self, count: usize) {
        let used = &self.bytes[self.unread.start..self.unread.start + count];
        // A line may end with LF, CR LF or CR.
        for at in memchr::memchr2_iter(b'\r', b'\n', used) {
            let before = at.checked_sub(1).map_or(self.last, |before| used[before]);
            self.line += u64::from(used[at] == b'\r' || before != b'\r');
        }
        if let Some(last) = used.last() {
            self.last = *last;
        }
        self.unread.start += count;
    }

    /// Uses up whole lines of which the number is known; each ends with LF alone.
    pub(super) fn advance_lines(&mut self, count: usize, lines: usize) {
        if count > 0 {
            self.unread.start += count;
            self.line += lines as u64;
            self.last = b'\n';
        }
    }

    /// Uses up line ends, so that something else is next, or the end of the file.
    pub(super) fn skip_line_ends(&mut self) -> io::Result<()> {
        loop {
            let unread = self.unread();
            let other = |byte: &u8| !matches!(byte, b'\r' | b'\n');
            if let Some(count) = unread.iter().position(other) {
                self.advance(count);
                return Ok(());
            }
            self.advance(unread.len());
            if self.is_at_end {
                return Ok(());
            }
            self.fill()?;
        }
    }

    /// Uses up the rest of the line, however long it is.
    pub(super) fn skip_line(&mut self) -> io::Result<()> {
        loop {
            let unread = self.unread();
            if let Some(end) = memchr::memchr2(b'\r', b'\n', unread) {
                self.advance(end);
                return Ok(());
            }
            self.advance(unread.len());
            if self.is_at_end {
                return Ok(());
            }
            self.fill()?;
        }
    }

    /// The memory it takes, in bytes.
    #[cfg(test)]
    pub(super) fn size(&self) -> usize {
        self.bytes.capacity()
    }
}
