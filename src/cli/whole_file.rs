//! Files that are either whole or not there.

use std::ffi::OsString;
use std::fs::{self, File};
use std::io::{self, Write};
use std::path::{Path, PathBuf};

/// Writes a file beside its final place and moves it there when it is complete on disk: a reader,
/// a crash or a full disk never leaves half of it, and what was there before stays until then.
pub(super) fn write(path: &Path, bytes: &[u8]) -> io::Result<()> {
    if path.is_dir() {
        return Err(io::Error::new(
            io::ErrorKind::IsADirectory,
            "it is a folder",
        ));
    }
    let beside = beside(path)?;
    let written = fill(&beside, bytes).and_then(|()| fs::rename(&beside, path));
    if written.is_err() {
        // What could not be written is of no use; that it may stay behind is all that can go wrong.
        let _ = fs::remove_file(&beside);
    }
    written
}

fn fill(path: &Path, bytes: &[u8]) -> io::Result<()> {
    let mut file = File::create(path)?;
    file.write_all(bytes)?;
    file.sync_all()
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
