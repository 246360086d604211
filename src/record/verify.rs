//! Whether a recording is whole and as it was written.

use std::collections::BTreeMap;
use std::fs;
use std::path::{Path, PathBuf};
use std::time::Duration;

use chrono::{DateTime, TimeDelta, Utc};

use super::layout::{FACTS_FILE, SUMS_FILE, files_of_recording};
use super::read_error::ReadError;
use super::recording_source::{day_files, open, unreadable};
use super::rows::{Row, whole_rows};
use super::source::RecordingFacts;
use super::sums::{self, name_in};
use super::wall::WallClock;
use crate::setup::LoopSetup;

/// A stretch without a process value that lasts so long is told.
const GAP_S: f64 = 60.0;

/// A row's time is off by more only where a step of the clock has no event. A step is half a second.
const OFF: TimeDelta = TimeDelta::milliseconds(400);

/// What was found.
#[derive(Clone, Debug)]
pub struct Verified {
    /// The recording's folder.
    pub folder: PathBuf,
    /// What it says about itself.
    pub facts: RecordingFacts,
    /// Each file, by its name in the recording.
    pub files: Vec<(String, FileState)>,
    /// Whether no checksum line was removed, replaced or added.
    pub is_chain_whole: bool,
    /// The last link of the chain, to be lodged elsewhere; `None` while no file is closed.
    pub last_link: Option<String>,
    /// Each loop.
    pub loops: Vec<VerifiedLoop>,
}

/// How a file is.
#[derive(Clone, Copy, Debug, PartialEq, Eq)]
pub enum FileState {
    /// It has its checksum.
    Whole,
    /// It has another checksum.
    Altered,
    /// It is in the list and not in the folder.
    Missing,
    /// It has no checksum yet: the recording was not closed.
    Open,
    /// It is in the folder of a closed recording and not in the list.
    Added,
}

/// A loop's rows.
#[derive(Clone, Debug, Default, PartialEq)]
pub struct VerifiedLoop {
    /// Its name.
    pub name: String,
    /// Its rows.
    pub rows: u64,
    /// The polls that were scheduled up to its last row.
    pub scheduled: u64,
    /// Where rows are missing or doubled: the time of the first row behind it, and how many are
    /// missing (less than 0: too many).
    pub off_the_grid: Vec<(DateTime<Utc>, i64)>,
    /// Rows by state.
    pub states: BTreeMap<String, u64>,
    /// Stretches without a process value that last a minute or more: since when, seconds, and the
    /// state of their first row.
    pub gaps: Vec<(DateTime<Utc>, f64, String)>,
    /// Rows whose `elapsed_s` is before that of the row above.
    pub backwards: u64,
    /// Steps of the system's clock: from which elapsed second on, the wall time then, and by how many
    /// seconds.
    pub clock_steps: Vec<(f64, DateTime<Utc>, f64)>,
    /// Rows whose `time` is not what `elapsed_s` and the steps make it.
    pub off_time: u64,
}

impl Verified {
    /// Whether nothing is missing or altered.
    pub fn is_whole(&self) -> bool {
        let is_sound =
            |(_, state): &(String, FileState)| matches!(state, FileState::Whole | FileState::Open);
        let has_all_rows = |it: &VerifiedLoop| {
            it.rows == it.scheduled && it.backwards + it.off_time == 0 && it.off_the_grid.is_empty()
        };
        self.is_chain_whole
            && self.files.iter().all(is_sound)
            && self.loops.iter().all(has_all_rows)
    }
}

/// Looks through a recording.
///
/// # Errors
/// It is no recording, or a file cannot be read at all.
pub fn verify(folder: &Path) -> Result<Verified, ReadError> {
    let opened = open(folder)?;
    let unreadable = |error: std::io::Error| unreadable(folder, &error);
    let text = match fs::read_to_string(folder.join(SUMS_FILE)) {
        Err(error) if error.kind() == std::io::ErrorKind::NotFound => String::new(),
        read => read.map_err(unreadable)?,
    };
    let (listed, last, strange) = sums::read(&text);
    let is_closed = opened.facts.ended.is_some();
    let mut files = Vec::new();
    for it in &listed {
        let state = match sums::sum(&folder.join(&it.name)) {
            Ok(hash) if hash == it.hash => FileState::Whole,
            Ok(_) => FileState::Altered,
            Err(_) => FileState::Missing,
        };
        files.push((it.name.clone(), state));
    }
    for file in files_of_recording(folder).map_err(unreadable)? {
        let name = name_in(folder, &file);
        if !files.iter().any(|(known, _)| *known == name) {
            let state = if is_closed {
                FileState::Added
            } else {
                FileState::Open
            };
            files.push((name, state));
        }
    }
    let loops = opened.setup.loops.iter();
    let loops = loops.map(|it| {
        let line = opened.setup.lines.iter().find(|line| line.name == it.line);
        let answer_within = line.map_or(Duration::ZERO, |line| line.answer_within);
        let wall = WallClock::of_loop(&folder.join(it.name.as_str()), opened.facts.began, false)?;
        rows_of(folder, it, it.every * 2 + answer_within, wall)
    });
    // A closed recording's list covers at least the file that says so.
    let has_list = !is_closed || listed.iter().any(|it| it.name == FACTS_FILE);
    Ok(Verified {
        folder: folder.to_owned(),
        files,
        is_chain_whole: has_list && strange.is_empty() && listed.iter().all(|it| it.is_chained),
        last_link: (last.number > 0).then(|| format!("{} {}", last.number, last.hash)),
        loops: loops.collect::<Result<_, _>>()?,
        facts: opened.facts,
    })
}

fn rows_of(
    folder: &Path,
    the_loop: &LoopSetup,
    late_at_most: Duration,
    wall: WallClock,
) -> Result<VerifiedLoop, ReadError> {
    let points = the_loop.map.trend_points().count();
    let mut count = Count::new(the_loop.every, late_at_most, wall);
    for path in day_files(&folder.join(the_loop.name.as_str()))? {
        for (number, record) in whole_rows(&path, false)?.0 {
            count.row(&Row::parse(&path, number, &record, points)?);
        }
    }
    Ok(VerifiedLoop {
        name: the_loop.name.to_string(),
        ..count.done()
    })
}

/// Counts rows against the grid.
///
/// A poll's row comes at or after its due time, as late as its answer. So the row number that belongs
/// to a time is never above it, and where rows are missing all later rows are too far on. Of the last
/// rows it cannot be told whether they are late or one before them is missing: they are late.
struct Count {
    every_s: f64,
    late_at_most_s: f64,
    wall: WallClock,
    found: VerifiedLoop,
    last_s: f64,
    changes: Vec<Change>,
    gap: Option<(DateTime<Utc>, f64, String)>,
}

/// From here on rows are so far ahead of the grid.
#[derive(Clone, Copy, Debug)]
struct Change {
    time: DateTime<Utc>,
    elapsed_s: f64,
    ahead: i64,
}

impl Count {
    fn new(every: Duration, late_at_most: Duration, wall: WallClock) -> Self {
        let clock_steps = steps(&wall);
        Self {
            every_s: every.as_secs_f64(),
            late_at_most_s: late_at_most.as_secs_f64(),
            wall,
            found: VerifiedLoop {
                clock_steps,
                ..VerifiedLoop::default()
            },
            last_s: 0.0,
            changes: Vec::new(),
            gap: None,
        }
    }

    fn row(&mut self, row: &Row) {
        // Times are written in milliseconds, which may cut off the last part of a due time.
        let due = ((row.elapsed_s + 0.000_6) / self.every_s).floor() as i64;
        let ahead = due - self.found.rows.cast_signed();
        if self.changes.last().is_none_or(|last| last.ahead != ahead) {
            self.changes.push(Change {
                time: row.time,
                elapsed_s: row.elapsed_s,
                ahead,
            });
        }
        self.found.rows += 1;
        self.found.backwards += u64::from(row.elapsed_s < self.last_s);
        self.found.off_time += u64::from(!self.is_in_time(row));
        self.last_s = row.elapsed_s;
        *self.found.states.entry(row.state.clone()).or_default() += 1;
        if matches!(row.state.as_str(), "good" | "partial") {
            self.end_gap(row.elapsed_s);
        } else {
            self.gap
                .get_or_insert_with(|| (row.time, row.elapsed_s, row.state.clone()));
        }
    }

    fn is_in_time(&self, row: &Row) -> bool {
        // A row of the very millisecond of a step may be before it or behind it.
        [row.elapsed_s - 0.002, row.elapsed_s + 0.002]
            .into_iter()
            .filter_map(|elapsed_s| self.wall.at(elapsed_s))
            .any(|wall| (row.time - wall).abs() < OFF)
    }

    fn end_gap(&mut self, now_s: f64) {
        if let Some((time, began_s, state)) = self.gap.take()
            && (now_s - began_s >= GAP_S || state == "not-running")
        {
            self.found.gaps.push((time, now_s - began_s, state));
        }
    }

    fn done(mut self) -> VerifiedLoop {
        self.end_gap(self.last_s + self.every_s);
        let sure_s = self.last_s - self.late_at_most_s;
        let is_sure = |change: &&Change| change.elapsed_s <= sure_s;
        let known = self.changes.iter().rev().find(is_sure);
        let known = known.map_or(0, |change| change.ahead);
        // From the end on, what all later rows are ahead by is missing before them.
        let mut least = i64::MAX;
        let mut steps = Vec::new();
        for change in self.changes.iter().rev() {
            let ahead = if is_sure(&change) {
                change.ahead
            } else {
                change.ahead.min(known)
            };
            least = least.min(ahead);
            steps.push((change.time, least));
        }
        let mut missing = 0;
        for (time, now) in steps.into_iter().rev() {
            if now != missing {
                self.found.off_the_grid.push((time, now - missing));
            }
            missing = now;
        }
        self.found.scheduled = (self.found.rows.cast_signed() + missing).max(0) as u64;
        self.found
    }
}

fn steps(wall: &WallClock) -> Vec<(f64, DateTime<Utc>, f64)> {
    let before = |number: usize, from_s: f64| {
        let steps = wall.steps[..number].to_vec();
        let before = WallClock {
            steps,
            ..wall.clone()
        };
        before.at(from_s)
    };
    let step = |(number, (from_s, time)): (usize, &(f64, DateTime<Utc>))| {
        let by_s = (*time - before(number, *from_s)?).as_seconds_f64();
        Some((*from_s, *time, by_s))
    };
    wall.steps.iter().enumerate().filter_map(step).collect()
}

#[cfg(test)]
mod tests {
    use super::*;

    fn counted(elapsed: impl IntoIterator<Item = f64>) -> VerifiedLoop {
        let second = Duration::from_secs(1);
        let wall = WallClock::beginning(DateTime::UNIX_EPOCH);
        let mut count = Count::new(second, 3 * second, wall);
        for elapsed_s in elapsed {
            let time = DateTime::UNIX_EPOCH + Duration::from_secs_f64(elapsed_s);
            count.row(&Row {
                time,
                elapsed_s,
                state: "good".to_owned(),
                cells: Vec::new(),
            });
        }
        count.done()
    }

    #[test]
    fn late_answers_are_on_the_grid_and_a_removed_or_doubled_row_is_not() {
        // Answers that come up to the next poll but one.
        let late = |n: i32| f64::from(n) + [0.0, 0.02, 0.999, 1.3][n as usize % 4];
        let whole = counted((0..40).map(late));
        assert_eq!((whole.rows, whole.scheduled), (40, 40));
        assert_eq!(whole.off_the_grid, []);

        let removed = counted((0..40).filter(|n| *n != 17).map(late));
        assert_eq!((removed.rows, removed.scheduled), (39, 40));
        assert_eq!(removed.off_the_grid.len(), 1);
        assert_eq!(removed.off_the_grid[0].1, 1);
        assert_eq!(removed.off_the_grid[0].0.timestamp(), 18);

        let doubled = counted((0..40).chain(39..40).map(f64::from));
        assert_eq!((doubled.rows, doubled.scheduled), (41, 40));
    }

    #[test]
    fn a_time_that_no_step_explains_is_found() {
        let second = Duration::from_secs(1);
        let began = DateTime::UNIX_EPOCH;
        let wall = WallClock {
            began,
            steps: vec![(2.0, began + 60 * second), (4.0, began + 60 * second)],
        };
        let off = |times: &[u32]| {
            let mut count = Count::new(second, 3 * second, wall.clone());
            for (elapsed_s, time) in times.iter().enumerate() {
                count.row(&Row {
                    time: began + *time * second,
                    elapsed_s: elapsed_s as f64,
                    state: "good".to_owned(),
                    cells: Vec::new(),
                });
            }
            count.done().off_time
        };
        assert_eq!(off(&[0, 1, 60, 61, 60, 61]), 0);
        assert_eq!(
            off(&[0, 1, 2, 61, 60, 61]),
            0,
            "before the step or behind it"
        );
        assert_eq!(off(&[0, 1, 60, 3, 4, 61]), 2);
        assert_eq!(steps(&wall)[1], (4.0, began + 60 * second, -2.0));
    }
}
