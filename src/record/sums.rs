//! `SHA256SUMS`: checksums of closed files, as `sha256sum -c --strict` reads them, in a chain.
//!
//! Behind each checksum a comment line carries a running hash over all lines so far, so that a line
//! that was removed or replaced shows. Hashes show damage; that nobody wrote everything anew is
//! proved only by a link of the chain that was lodged elsewhere.

use std::fmt::Write as _;
use std::fs::{self, File};
use std::io::{self, BufRead as _, BufReader};
use std::path::{Path, PathBuf};

use sha2::{Digest, Sha256};

use super::disk::Disk;
use super::growing::Growing;
use super::layout::SUMS_FILE;

const CHAIN: &str = "# chain ";

/// The checksums of a recording that is being written.
#[derive(Debug)]
pub(super) struct Sums {
    folder: PathBuf,
    listed: Vec<String>,
    last: Link,
    tail: Option<Growing>,
}

/// A link of the chain: how many lines it covers, and their running hash.
#[derive(Clone, Debug, Default, PartialEq, Eq)]
pub(crate) struct Link {
    pub(crate) number: u32,
    pub(crate) hash: String,
}

/// A checksum line.
#[derive(Clone, Debug, PartialEq, Eq)]
pub(crate) struct Listed {
    pub(crate) name: String,
    pub(crate) hash: String,
    /// Whether the chain has the right link behind it.
    pub(crate) is_chained: bool,
}

impl Link {
    /// The link behind one more line.
    fn next(&self, line: &str) -> Self {
        Self {
            number: self.number + 1,
            hash: hex(Sha256::digest(format!("{}\n{line}\n", self.hash)).as_slice()),
        }
    }

    fn line(&self) -> String {
        format!("{CHAIN}{} {}", self.number, self.hash)
    }
}

/// Reads checksum lines and their links; what is neither stands in the second list.
pub(crate) fn read(text: &str) -> (Vec<Listed>, Link, Vec<String>) {
    let (mut listed, mut strange) = (Vec::<Listed>::new(), Vec::new());
    let mut link = Link::default();
    for line in text.lines() {
        if line.starts_with(CHAIN) {
            match listed.last_mut() {
                Some(last) if line == link.line() => last.is_chained = true,
                _ => strange.push(line.to_owned()),
            }
        } else if let Some((hash, name)) = line.split_once("  ") {
            link = link.next(line);
            listed.push(Listed {
                name: name.to_owned(),
                hash: hash.to_owned(),
                is_chained: false,
            });
        } else {
            strange.push(line.to_owned());
        }
    }
    (listed, link, strange)
}

impl Sums {
    /// Goes on from what is in the folder: nothing, in a new recording.
    pub(super) fn open(folder: &Path, disk: &dyn Disk) -> io::Result<Self> {
        let path = folder.join(SUMS_FILE);
        let mut sums = Self {
            folder: folder.to_owned(),
            listed: Vec::new(),
            last: Link::default(),
            tail: None,
        };
        if !path.exists() {
            return Ok(sums);
        }
        let mut text = fs::read_to_string(&path)?;
        let whole = text.rfind('\n').map_or(0, |end| end + 1);
        if whole < text.len() {
            // A line that power cut off; its file gets a new one.
            text.truncate(whole);
            disk.replace(&path, text.as_bytes())?;
        }
        let (listed, link, _) = read(&text);
        let has_link = listed.last().is_none_or(|last| last.is_chained);
        sums.listed = listed.into_iter().map(|it| it.name).collect();
        sums.last = link;
        let mut tail = Growing::open(&path, disk)?;
        if !has_link {
            // Power went between a checksum and its link.
            tail.write(format!("{}\n", sums.last.line()).as_bytes())?;
        }
        sums.tail = Some(tail);
        Ok(sums)
    }

    /// Adds a file that will not change any more, unless it is there already.
    pub(super) fn add(&mut self, file: &Path, disk: &dyn Disk) -> io::Result<()> {
        if self.has(file) {
            return Ok(());
        }
        self.list(file, &sum(file)?, disk)
    }

    fn has(&self, file: &Path) -> bool {
        self.listed.contains(&name_in(&self.folder, file))
    }

    /// Adds a file with this sum. It is on the medium only once the file is synced.
    pub(super) fn list(&mut self, file: &Path, sum: &str, disk: &dyn Disk) -> io::Result<()> {
        let name = name_in(&self.folder, file);
        if self.listed.contains(&name) {
            return Ok(());
        }
        let line = format!("{sum}  {name}");
        let link = self.last.next(&line);
        let tail = match &mut self.tail {
            Some(tail) => tail,
            none => none.insert(Growing::open(&self.folder.join(SUMS_FILE), disk)?),
        };
        tail.write(format!("{line}\n{}\n", link.line()).as_bytes())?;
        self.listed.push(name);
        self.last = link;
        Ok(())
    }

    /// Their file, once there is one.
    pub(super) fn file(&mut self) -> Option<&mut Growing> {
        self.tail.as_mut()
    }
}

/// A file's name in a recording, with forward strokes.
pub(crate) fn name_in(folder: &Path, file: &Path) -> String {
    let name = file.strip_prefix(folder).unwrap_or(file);
    let parts = name.components();
    let parts: Vec<_> = parts
        .map(|part| part.as_os_str().to_string_lossy())
        .collect();
    parts.join("/")
}

/// Every file below a folder, in the order of the names.
pub(crate) fn files_in(folder: &Path) -> io::Result<Vec<PathBuf>> {
    let mut files = Vec::new();
    for entry in fs::read_dir(folder)? {
        let path = entry?.path();
        if path.is_dir() {
            files.extend(files_in(&path)?);
        } else {
            files.push(path);
        }
    }
    files.sort();
    Ok(files)
}

/// The SHA-256 of a file in hexadecimal digits.
pub(crate) fn sum(file: &Path) -> io::Result<String> {
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
    Ok(hex(hasher.finalize().as_slice()))
}

fn hex(bytes: &[u8]) -> String {
    bytes.iter().fold(String::new(), |mut hex, byte| {
        // Writing to a String cannot fail.
        let _ = write!(hex, "{byte:02x}");
        hex
    })
}

#[cfg(test)]
mod tests {
    use super::super::disk::FileSystem;
    use super::*;

    fn with_three_files() -> (tempfile::TempDir, String) {
        let folder = tempfile::tempdir().unwrap();
        for name in ["a", "b", "c"] {
            fs::write(folder.path().join(name), name).unwrap();
            // Each time as after a restart.
            let mut sums = Sums::open(folder.path(), &FileSystem).unwrap();
            sums.add(&folder.path().join(name), &FileSystem).unwrap();
        }
        let text = fs::read_to_string(folder.path().join(SUMS_FILE)).unwrap();
        (folder, text)
    }

    fn all_chained(text: &str) -> bool {
        let (listed, _, strange) = read(text);
        strange.is_empty() && listed.iter().all(|it| it.is_chained)
    }

    #[test]
    fn the_chain_goes_on_over_restarts_and_shows_what_was_removed_or_replaced() {
        let (_folder, text) = with_three_files();
        assert!(all_chained(&text), "{text}");
        // FIPS 180-4 gives the hash of "abc"; of "a" it is from sha256sum.
        let of_a = "ca978112ca1bbdcafac231b39a23dc4da786eff8147c4e72b9807785afee48bb  a\n";
        assert!(text.starts_with(of_a));
        let lines: Vec<&str> = text.lines().collect();
        let without_b = [&lines[..2], &lines[4..]].concat().join("\n");
        assert!(!all_chained(&without_b));
        assert!(!all_chained(&text.replace("  b", "  x")));
    }

    #[test]
    fn a_checksum_whose_link_was_lost_gets_it_at_the_next_start() {
        let (folder, text) = with_three_files();
        let torn = text.trim_end().rfind('\n').unwrap() + 1;
        fs::write(folder.path().join(SUMS_FILE), &text[..torn]).unwrap();
        Sums::open(folder.path(), &FileSystem).unwrap();
        let mended = fs::read_to_string(folder.path().join(SUMS_FILE)).unwrap();
        assert_eq!(mended, text);
    }
}
