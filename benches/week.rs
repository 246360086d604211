//! A week of one loop in virtual time through the whole of it: exchange, decode, record to disk, on a
//! bad line and a computer whose clock is set twice, that sleeps, and whose recorder dies three times. Is there a
//! row for every scheduled poll, does memory grow, and how long does it take? The simulated oven is
//! part of it.
#![expect(
    clippy::unwrap_used,
    reason = "a benchmark that cannot go on should stop"
)]

mod common;
#[path = "../tests/it/long.rs"]
mod long;
#[path = "common/memory.rs"]
mod memory;
#[expect(dead_code, reason = "of what is shared, this needs the opener")]
#[path = "../tests/it/played.rs"]
mod played;
#[path = "common/processor.rs"]
mod processor;

use std::fs;
use std::path::{Path, PathBuf};
use std::process::ExitCode;
use std::time::Duration;

use chrono::TimeDelta;
use common::Report;
use emberline::clock::Stopwatch;
use emberline::record::verify;
use long::{Blow, LOOP, Long};
use played::paused;
use tokio::time::sleep;

const POLLS: u32 = 7 * 24 * 60 * 60;
/// Of exchanges, for each kind of fault, and of seconds in which the adapter is pulled out.
const SHARE: f64 = 0.01;
/// The rows of a day more in memory would be ten times this.
const GROWS_BY_AT_MOST_MB: f64 = 4.0;

const TITLE: &str = "A week: one loop once a second in virtual time, recorded; late, lost, truncated, corrupted, duplicated, foreign, refused, noise, unplugged, each 1 %; two clock steps, a sleep, three restarts";
const COLUMNS: [&str; 10] = [
    "polls due",
    "rows",
    "good",
    "not running",
    "day files",
    "recorded",
    "resident after a day, at the end",
    "took (aim: 10 s)",
    "processor time",
    "x as fast as time",
];

fn main() -> ExitCode {
    let into = tempfile::tempdir().unwrap();
    let watch = Stopwatch::start();
    let (folder, after_a_day) = paused().block_on(week(into.path()));
    let took = watch.elapsed().as_secs_f64();
    let at_the_end = memory::resident_mb();
    let processor = processor::time_so_far().map(|time| format!("{:.1} s", time.as_secs_f64()));
    let days = day_files(&folder);
    let bytes: u64 = days.iter().map(|it| it.metadata().unwrap().len()).sum();
    let verified = verify(&folder).unwrap();
    let found = &verified.loops[0];
    let states = |state: &str| found.states.get(state).copied().unwrap_or(0);
    let unread = || "cannot be read here".to_owned();
    let resident = after_a_day.zip(at_the_end);
    let mut report = Report::new(TITLE, &COLUMNS);
    report.row([
        POLLS.to_string(),
        found.rows.to_string(),
        format!("{:.1} %", 100.0 * states("good") as f64 / f64::from(POLLS)),
        states("not-running").to_string(),
        days.len().to_string(),
        format!("{:.0} MB", bytes as f64 / 1e6),
        resident.map_or_else(unread, |(day, end)| format!("{day:.1} MB, {end:.1} MB")),
        format!("{took:.1} s"),
        processor.unwrap_or_else(unread),
        format!("{:.0}", f64::from(POLLS) / took),
    ]);
    report.expect(
        found.rows == u64::from(POLLS),
        format!("{} rows", found.rows),
    );
    report.expect(verified.is_whole(), format!("not whole: {found:?}"));
    report.expect(found.clock_steps.len() == 2, "not two clock steps");
    if let Some((day, end)) = resident {
        let grown = end - day;
        report.expect(
            grown < GROWS_BY_AT_MOST_MB,
            format!("{grown:.1} MB more in six days"),
        );
    }
    report.print()
}

/// Plays it; the recording's folder, and the memory in use after a day.
async fn week(into: &Path) -> (PathBuf, Option<f64>) {
    let days = |count: f64| Duration::from_secs_f64(86_400.0 * count);
    let long = Long::new(into, POLLS, SHARE);
    let blows = [
        (days(1.5), Blow::Step(TimeDelta::hours(5))),
        (
            days(2.2),
            Blow::Death(Duration::from_secs(40), TimeDelta::zero()),
        ),
        (
            days(3.4),
            Blow::Death(Duration::from_mins(20), TimeDelta::zero()),
        ),
        (days(4.0), Blow::Step(-TimeDelta::hours(9))),
        (days(4.5), Blow::Sleep(Duration::from_hours(6))),
        (
            days(5.6),
            Blow::Death(Duration::from_hours(3), TimeDelta::zero()),
        ),
    ];
    let resident = async {
        sleep(days(1.0)).await;
        memory::resident_mb()
    };
    tokio::join!(long.play(&blows), resident)
}

/// The samples of the loop.
fn day_files(folder: &Path) -> Vec<PathBuf> {
    let files = fs::read_dir(folder.join(LOOP)).unwrap();
    let files = files.map(|it| it.unwrap().path());
    let names_a_day = |path: &PathBuf| {
        let name = path.file_name().unwrap().to_string_lossy();
        name.starts_with("2027-")
    };
    files.filter(names_a_day).collect()
}
