//! Files that are either whole or not there.

use std::ffi::OsString;
use std::fs::{self, File};
use std::io::{self, BufWriter, Write};
use std::path::{Path, PathBuf};

/// Writes a file whole or not at all, as [`stream`] does.
pub(super) fn write(path: &Path, bytes: &[u8]) -> io::Result<()> {
    stream(path, |file| file.write_all(bytes))
}

/// Writes a file beside its final place and moves it there when `fill` is through and all is on
/// disk: a reader, a crash or a full disk never leaves half of it, and what was there before stays
/// until then.
///
/// # Errors
/// Those of `fill`, and the file cannot be written.
pub(super) fn stream<T, E: From<io::Error>>(
    path: &Path,
    fill: impl FnOnce(&mut BufWriter<File>) -> Result<T, E>,
) -> Result<T, E> {
    if path.is_dir() {
        let error = io::Error::new(io::ErrorKind::IsADirectory, "it is a folder");
        return Err(error.into());
    }
    let beside = beside(path)?;
    let written = filled(&beside, fill).and_then(|done| {
        fs::rename(&beside, path)?;
        Ok(done)
    });
    if written.is_err() {
        // What could not be written is of no use; that it may stay behind is all that can go wrong.
        let _ = fs::remove_file(&beside);
    }
    written
}

fn filled<T, E: From<io::Error>>(
    path: &Path,
    fill: impl FnOnce(&mut BufWriter<File>) -> Result<T, E>,
) -> Result<T, E> {
    let mut file = BufWriter::with_capacity(1 << 16, File::create(path)?);
    let done = fill(&mut file)?;
    file.flush()?;
    file.get_ref().sync_all()?;
    Ok(done)
}

/// A hidden name in the same folder, so that moving does not leave the disk.
fn beside(path: &Path) -> io::Result<PathBuf> {
    let name = path
        .file_name()
        .ok_or_else(|| io::Error::new(io::ErrorKind::InvalidInput, "it is no file name"))?;
    let mut hidden = OsString::from(".");
    hidden.push(name);
    hidden.push(format!(".{}.part", std::process::id()));
    Ok(path.with_file_name(hidden))
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn a_file_is_replaced_whole_and_nothing_stays_beside_it() {
        let folder = tempfile::tempdir().unwrap();
        let path = folder.path().join("report.html");
        write(&path, b"first").unwrap();
        write(&path, b"second").unwrap();
        assert_eq!(fs::read(&path).unwrap(), b"second");
        assert_eq!(fs::read_dir(folder.path()).unwrap().count(), 1);
    }

    #[test]
    fn what_cannot_be_written_leaves_what_was_there() {
        let folder = tempfile::tempdir().unwrap();
        assert!(write(folder.path(), b"x").is_err());
        assert!(write(&folder.path().join("missing/report.html"), b"x").is_err());
        assert!(write(Path::new(".."), b"x").is_err());
        assert_eq!(fs::read_dir(folder.path()).unwrap().count(), 0);
    }
}
