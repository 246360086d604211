//! Where an owner announces itself: places that belong to one user of one machine.

use std::fs;
use std::io;
use std::path::{Path, PathBuf};

/// The places that can be used, made where they are missing. There may be two: a service and
/// somebody who logs in later have the temporary folder in common, but not always the other.
///
/// # Errors
/// There is none; why the last one cannot be used.
pub(super) fn places() -> io::Result<Vec<PathBuf>> {
    let mut usable = Vec::new();
    let mut why = None;
    for place in candidates() {
        match make(&place) {
            Ok(()) => usable.push(place),
            Err(error) => why = Some(error),
        }
    }
    match why {
        Some(error) if usable.is_empty() => Err(error),
        _ => Ok(usable),
    }
}

#[cfg(unix)]
fn candidates() -> Vec<PathBuf> {
    let runtime = std::env::var_os("XDG_RUNTIME_DIR").map(PathBuf::from);
    let runtime = runtime.filter(|folder| folder.is_absolute());
    let user = rustix::process::getuid().as_raw();
    let temporary = std::env::temp_dir().join(format!("emberline-{user}"));
    let runtime = runtime.map(|folder| folder.join("emberline"));
    runtime.into_iter().chain([temporary]).collect()
}

/// The temporary folder of Windows is the user's own.
#[cfg(not(unix))]
fn candidates() -> Vec<PathBuf> {
    vec![std::env::temp_dir().join("emberline")]
}

/// Anybody may make a folder in the temporary one: what is there counts only if it is ours alone.
#[cfg(unix)]
fn make(place: &Path) -> io::Result<()> {
    use std::os::unix::fs::{DirBuilderExt as _, MetadataExt as _};
    match fs::DirBuilder::new().mode(0o700).create(place) {
        Err(error) if error.kind() != io::ErrorKind::AlreadyExists => return Err(error),
        _ => {}
    }
    let found = fs::symlink_metadata(place)?;
    let is_ours = found.is_dir()
        && found.uid() == rustix::process::getuid().as_raw()
        && found.mode().trailing_zeros() >= 6;
    if is_ours {
        return Ok(());
    }
    let text = format!("{} is not a folder of this user alone", place.display());
    Err(io::Error::new(io::ErrorKind::PermissionDenied, text))
}

#[cfg(not(unix))]
fn make(place: &Path) -> io::Result<()> {
    fs::create_dir_all(place)
}

#[cfg(all(test, unix))]
mod tests {
    use std::os::unix::fs::PermissionsExt as _;

    use super::*;

    #[test]
    fn a_folder_that_others_may_enter_is_not_used() {
        let folder = tempfile::tempdir().unwrap();
        let place = folder.path().join("emberline");
        make(&place).unwrap();
        make(&place).unwrap();
        let mode = fs::metadata(&place).unwrap().permissions().mode();
        assert_eq!(mode & 0o777, 0o700);
        fs::set_permissions(&place, fs::Permissions::from_mode(0o750)).unwrap();
        assert!(make(&place).unwrap_err().to_string().contains("alone"));
        let link = folder.path().join("link");
        std::os::unix::fs::symlink(folder.path(), &link).unwrap();
        assert!(make(&link).is_err());
    }
}
