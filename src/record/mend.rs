//! A recording that was not closed: what is in it, with torn rows set aside.

use std::collections::HashMap;
use std::fs::{File, OpenOptions};
use std::io::{self, BufRead as _, BufReader, Read as _, Seek as _, SeekFrom, Write as _};
use std::path::{Path, PathBuf};

use super::layout::{DayPart, EVENTS_FILE, SETTINGS_FILE, day_files, stamp_of_cells};
use crate::clock::Stamp;

/// What the files of one loop hold.
#[derive(Clone, Debug, Default)]
pub(super) struct Mended {
    /// Every file of samples.
    pub(super) days: Vec<DayPart>,
    /// The latest file of samples.
    pub(super) last_day: Option<DayPart>,
    /// Its header.
    pub(super) last_header: Vec<String>,
    /// Rows in all day files.
    pub(super) rows: u32,
    /// The latest moment in any file.
    pub(super) last: Stamp,
    /// The latest moment in a file of samples.
    pub(super) last_row: Stamp,
    /// The latest value of each slow point.
    pub(super) last_settings: HashMap<String, String>,
    /// Where torn rows were put.
    pub(super) set_aside: Vec<PathBuf>,
    /// Files of samples before the latest.
    pub(super) full_days: Vec<PathBuf>,
}

/// Looks through a loop's folder, and sets aside what a crash left of rows.
pub(super) fn mend(folder: &Path) -> io::Result<Mended> {
    let mut mended = Mended::default();
    let mut days = day_files(folder)?;
    let others = [EVENTS_FILE, SETTINGS_FILE].map(|name| folder.join(name));
    for path in days
        .iter()
        .chain(others.iter().filter(|path| path.exists()))
    {
        mended.set_aside.extend(set_torn_row_aside(path)?);
        mended.last = mended.last.max(last_stamp(path)?.unwrap_or_default());
    }
    for path in &days {
        mended.rows += count_rows(path)?;
        let last = last_stamp(path)?.unwrap_or_default();
        mended.last_row = mended.last_row.max(last);
    }
    mended.days = days
        .iter()
        .filter_map(|path| DayPart::of_file(path))
        .collect();
    if let Some(last) = days.pop() {
        mended.last_day = DayPart::of_file(&last);
        mended.last_header = header(&last)?;
    }
    mended.full_days = days;
    mended.last_settings = last_settings(&others[1]).unwrap_or_default();
    Ok(mended)
}

/// Moves what stands behind the last line end into a file beside; gives that file.
fn set_torn_row_aside(path: &Path) -> io::Result<Option<PathBuf>> {
    let file = OpenOptions::new().read(true).write(true).open(path)?;
    let length = file.metadata()?.len();
    let whole = end_of_last_line(&file, length)?;
    if whole == length {
        return Ok(None);
    }
    let mut torn = Vec::new();
    (&file).seek(SeekFrom::Start(whole))?;
    (&file).read_to_end(&mut torn)?;
    torn.push(b'\n');
    let mut beside = path.as_os_str().to_owned();
    beside.push(".torn");
    let beside = PathBuf::from(beside);
    let mut kept = OpenOptions::new().append(true).create(true).open(&beside)?;
    kept.write_all(&torn)?;
    kept.sync_all()?;
    // Only once it is kept.
    file.set_len(whole)?;
    file.sync_all()?;
    Ok(Some(beside))
}

/// Bytes read at once from a file's end; several rows.
const CHUNK: u64 = 4096;

/// Where the last whole line ends.
fn end_of_last_line(mut file: &File, length: u64) -> io::Result<u64> {
    let mut end = length;
    while end > 0 {
        let start = end.saturating_sub(CHUNK);
        let mut chunk = vec![0; (end - start) as usize];
        file.seek(SeekFrom::Start(start))?;
        file.read_exact(&mut chunk)?;
        if let Some(at) = chunk.iter().rposition(|byte| *byte == b'\n') {
            return Ok(start + at as u64 + 1);
        }
        end = start;
    }
    Ok(0)
}

/// The moment of a file's last whole row.
pub(super) fn last_stamp(path: &Path) -> io::Result<Option<Stamp>> {
    let file = File::open(path)?;
    let end = end_of_last_line(&file, file.metadata()?.len())?;
    let start = end_of_last_line(&file, end.saturating_sub(1))?;
    let mut line = Vec::new();
    (&file).seek(SeekFrom::Start(start))?;
    (&file).take(end - start).read_to_end(&mut line)?;
    let line = String::from_utf8_lossy(&line);
    let mut cells = line.split(',');
    let cells = cells.next().zip(cells.next());
    Ok(cells.and_then(|(time, elapsed)| stamp_of_cells(time, elapsed)))
}

/// The cells of a file's first line.
fn header(path: &Path) -> io::Result<Vec<String>> {
    let mut line = String::new();
    BufReader::new(File::open(path)?).read_line(&mut line)?;
    Ok(line.trim_end().split(',').map(str::to_owned).collect())
}

/// Rows of a file, its header aside.
fn count_rows(path: &Path) -> io::Result<u32> {
    let mut file = File::open(path)?;
    let mut chunk = vec![0; 1 << 18];
    let mut lines = 0_u32;
    loop {
        let count = file.read(&mut chunk)?;
        if count == 0 {
            return Ok(lines.saturating_sub(1));
        }
        lines += memchr::memchr_iter(b'\n', &chunk[..count]).count() as u32;
    }
}

fn last_settings(path: &Path) -> Option<HashMap<String, String>> {
    let mut rows = csv::Reader::from_path(path).ok()?;
    let row = |row: csv::StringRecord| Some((row.get(3)?.to_owned(), row.get(5)?.to_owned()));
    Some(
        rows.records()
            .filter_map(Result::ok)
            .filter_map(row)
            .collect(),
    )
}

#[cfg(test)]
mod tests {
    use std::fs;
    use std::time::Duration;

    use super::*;

    fn mended(rows: &str) -> (Mended, String) {
        let folder = tempfile::tempdir().unwrap();
        let path = folder.path().join("2027-03-04.csv");
        fs::write(&path, rows).unwrap();
        let mended = mend(folder.path()).unwrap();
        let kept = fs::read_to_string(&path).unwrap();
        if let [aside] = mended.set_aside.as_slice() {
            let aside = fs::read_to_string(aside).unwrap();
            assert_eq!(
                format!("{kept}{aside}"),
                format!("{rows}\n"),
                "nothing is lost"
            );
        } else {
            assert_eq!(kept, rows);
        }
        (mended, kept)
    }

    #[test]
    fn a_torn_row_is_set_aside_wherever_it_was_torn() {
        let whole = "time,elapsed_s,state,pv\n\
                     2027-03-04T00:00:00.012Z,0.012,good,1\n\
                     2027-03-04T00:00:01.000Z,1.000,good,2\n";
        for end in 0..=whole.len() {
            let (mended, kept) = mended(&whole[..end]);
            assert!(kept.is_empty() || kept.ends_with('\n'), "{kept:?}");
            let rows = kept.lines().count().saturating_sub(1);
            assert_eq!(mended.rows as usize, rows);
            let millis = [0, 12, 1000][rows];
            assert_eq!(mended.last.elapsed, Duration::from_millis(millis));
        }
    }

    #[test]
    fn a_row_longer_than_a_chunk_is_found_whole() {
        let long = "x".repeat(3 * CHUNK as usize);
        let (mended, kept) = mended(&format!(
            "time,elapsed_s\n2027-03-04T00:00:07.5Z,7.5,{long}\n2027-03-04T00:00:08Z,8"
        ));
        assert_eq!((mended.rows, mended.last.elapsed.as_secs_f64()), (1, 7.5));
        assert!(kept.ends_with(&format!("{long}\n")));
    }
}
