//! What a recording is written to: this machine's file system, or a test's stand-in for one.

use std::fmt;
use std::fs::{self, File, OpenOptions};
use std::io::{self, Write as _};
use std::path::Path;
use std::sync::Arc;

/// Brings something to the medium; may take long, and may run on any thread.
pub(crate) type Syncing = Box<dyn FnOnce() -> io::Result<()> + Send>;

/// A place for files that survive: what was synced is there after a loss of power.
pub(crate) trait Disk: fmt::Debug + Send + Sync {
    /// Makes a folder that is there after a loss of power.
    fn make_folder(&self, path: &Path) -> io::Result<()>;

    /// Opens a file to write at its end, and makes it if it is not there.
    fn append(&self, path: &Path) -> io::Result<Box<dyn Tail>>;

    /// Gives a file new content, so that either the old or the new is there after a loss of power.
    fn replace(&self, path: &Path, content: &[u8]) -> io::Result<()>;

    /// Bytes that still fit, where the system tells.
    fn room(&self, path: &Path) -> Option<u64>;
}

/// A file that grows.
pub(crate) trait Tail: fmt::Debug + Send {
    /// Bytes in it.
    fn length(&self) -> u64;

    /// Adds all of `bytes` in one write, or, if that fails, nothing.
    fn write(&mut self, bytes: &[u8]) -> io::Result<()>;

    /// Takes off what is behind so many bytes.
    fn cut(&mut self, length: u64) -> io::Result<()>;

    /// What brings everything written so far to the medium.
    fn syncing(&self) -> Syncing;
}

/// The file system of this machine.
#[derive(Clone, Copy, Debug)]
pub(crate) struct FileSystem;

impl Disk for FileSystem {
    fn make_folder(&self, path: &Path) -> io::Result<()> {
        fs::create_dir(path)?;
        sync_folder_of(path)
    }

    fn append(&self, path: &Path) -> io::Result<Box<dyn Tail>> {
        let is_new = !path.exists();
        let file = OpenOptions::new().append(true).create(true).open(path)?;
        if is_new {
            sync_folder_of(path)?;
        }
        Ok(Box::new(GrowingFile {
            length: file.metadata()?.len(),
            file: Arc::new(file),
            is_torn: false,
        }))
    }

    fn replace(&self, path: &Path, content: &[u8]) -> io::Result<()> {
        let mut beside = path.as_os_str().to_owned();
        beside.push(".new");
        let written =
            write_whole(Path::new(&beside), content).and_then(|()| fs::rename(&beside, path));
        if written.is_err() {
            // It takes room that may be short.
            let _ = fs::remove_file(&beside);
        }
        written?;
        sync_folder_of(path)
    }

    #[cfg(unix)]
    fn room(&self, path: &Path) -> Option<u64> {
        let system = rustix::fs::statvfs(path).ok()?;
        Some(system.f_bavail.saturating_mul(system.f_frsize))
    }

    #[cfg(not(unix))]
    fn room(&self, _: &Path) -> Option<u64> {
        None
    }
}

fn write_whole(path: &Path, content: &[u8]) -> io::Result<()> {
    let mut file = File::create(path)?;
    file.write_all(content)?;
    file.sync_all()
}

/// Makes sure that the name of a file is on the medium, not only its content.
fn sync_folder_of(path: &Path) -> io::Result<()> {
    // Elsewhere folders cannot be opened, and need not be.
    #[cfg(unix)]
    if let Some(folder) = path.parent() {
        let here = Path::new(".");
        let folder = if folder.as_os_str().is_empty() {
            here
        } else {
            folder
        };
        File::open(folder)?.sync_all()?;
    }
    #[cfg(not(unix))]
    let _ = path;
    Ok(())
}

#[derive(Debug)]
struct GrowingFile {
    file: Arc<File>,
    length: u64,
    /// Part of a row that could not be written is still there.
    is_torn: bool,
}

impl Tail for GrowingFile {
    fn length(&self) -> u64 {
        self.length
    }

    fn write(&mut self, bytes: &[u8]) -> io::Result<()> {
        if self.is_torn {
            self.file.set_len(self.length)?;
            self.is_torn = false;
        }
        let written = (&*self.file).write_all(bytes);
        if written.is_ok() {
            self.length += bytes.len() as u64;
        } else {
            // Half a row would join the next one.
            self.is_torn = self.file.set_len(self.length).is_err();
        }
        written
    }

    fn cut(&mut self, length: u64) -> io::Result<()> {
        self.file.set_len(length)?;
        self.length = length;
        Ok(())
    }

    fn syncing(&self) -> Syncing {
        let file = Arc::clone(&self.file);
        Box::new(move || file.sync_data())
    }
}
