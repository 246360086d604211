//! A file's text from disk, or why not.

use std::fs::File;
use std::io::{self, ErrorKind, Read};
use std::path::Path;

/// The largest setup or map file that is read, in bytes; a large map has a few dozen kilobytes.
pub const LARGEST: u64 = 4 << 20;

/// The text of a setup or map file.
///
/// # Errors
///
/// What the system says, or [`ErrorKind::FileTooLarge`] for a file that is larger than [`LARGEST`],
/// [`ErrorKind::InvalidData`] for one that is no UTF-8 text, and [`ErrorKind::IsADirectory`] for a
/// folder, on every system alike.
pub fn read_text(path: &Path) -> io::Result<String> {
    if path.is_dir() {
        return Err(io::Error::new(
            ErrorKind::IsADirectory,
            "it is a folder, not a file",
        ));
    }
    let mut bytes = Vec::new();
    // One byte more than allowed tells a file that is too large, even one that has no length.
    File::open(path)?
        .take(LARGEST + 1)
        .read_to_end(&mut bytes)?;
    if bytes.len() as u64 > LARGEST {
        let limit = LARGEST >> 20;
        let text = format!("it is larger than {limit} MB, which no setup or map is");
        return Err(io::Error::new(ErrorKind::FileTooLarge, text));
    }
    let mut text = String::from_utf8(bytes).map_err(|bad| not_utf8(&bad))?;
    // Some editors begin a file with a byte order mark.
    if text.starts_with('\u{feff}') {
        text.remove(0);
    }
    Ok(text)
}

fn not_utf8(bad: &std::string::FromUtf8Error) -> io::Error {
    let at = bad.utf8_error().valid_up_to();
    let (before, rest) = bad.as_bytes().split_at(at);
    let line = before.split(|byte| *byte == b'\n').count();
    let byte = rest.first().copied().unwrap_or_default();
    let text =
        format!("it is not UTF-8 text: byte {at} of the file, on line {line}, is 0x{byte:02X}");
    io::Error::new(ErrorKind::InvalidData, text)
}

/// What a person can do about a file that cannot be read.
pub(crate) fn help_for(error: &io::Error) -> &'static str {
    match error.kind() {
        ErrorKind::NotFound => "check the spelling and the folder it is in",
        ErrorKind::IsADirectory => "name the file in it",
        ErrorKind::PermissionDenied => "ask for the right to read it",
        ErrorKind::InvalidData => "save it from a text editor as UTF-8 text",
        ErrorKind::FileTooLarge => "see whether another file was meant",
        _ => "see that it can be opened and read",
    }
}

/// What went wrong, in words that are the same on every system where they can be.
pub(crate) fn describe(error: &io::Error) -> String {
    match error.kind() {
        ErrorKind::NotFound => "there is no such file".to_owned(),
        ErrorKind::PermissionDenied => "reading it is not permitted".to_owned(),
        _ => error.to_string(),
    }
}
