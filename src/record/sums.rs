//! `SHA256SUMS`: checksums of every file, as `sha256sum -c` reads them.

use std::fmt::Write as _;
use std::fs::{self, File};
use std::io::{self, BufRead as _, BufReader};
use std::path::{Path, PathBuf};

use sha2::{Digest, Sha256};

use super::layout::SUMS_FILE;

/// Writes the checksums of everything in a recording's folder, in the order of the names.
pub(super) fn write(folder: &Path) -> io::Result<()> {
    let mut text = String::new();
    for file in files_in(folder)? {
        let name = file.strip_prefix(folder).unwrap_or(&file);
        let name = name
            .components()
            .map(|part| part.as_os_str().to_string_lossy())
            .collect::<Vec<_>>()
            .join("/");
        // Writing to a String cannot fail.
        let _ = writeln!(text, "{}  {name}", sum(&file)?);
    }
    fs::write(folder.join(SUMS_FILE), text)
}

fn files_in(folder: &Path) -> io::Result<Vec<PathBuf>> {
    let mut files = Vec::new();
    for entry in fs::read_dir(folder)? {
        let path = entry?.path();
        if path.is_dir() {
            files.extend(files_in(&path)?);
        } else if path.file_name().is_some_and(|name| name != SUMS_FILE) {
            files.push(path);
        }
    }
    files.sort();
    Ok(files)
}

fn sum(file: &Path) -> io::Result<String> {
    let mut hasher = Sha256::new();
    let mut reader = BufReader::new(File::open(file)?);
    loop {
        let chunk = reader.fill_buf()?;
        if chunk.is_empty() {
            break;
        }
        hasher.update(chunk);
        let length = chunk.len();
        reader.consume(length);
    }
    Ok(hasher
        .finalize()
        .iter()
        .fold(String::new(), |mut hex, byte| {
            let _ = write!(hex, "{byte:02x}");
            hex
        }))
}
