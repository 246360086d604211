//! A week of one loop in virtual time through the whole of it: exchange, decode, record to disk. Is
//! there a row for every scheduled poll, and how long does it take? The simulated oven is part of it.
#![expect(
    clippy::unwrap_used,
    reason = "a benchmark that cannot go on should stop"
)]

mod common;
#[path = "common/processor.rs"]
mod processor;
#[path = "../tests/it/played.rs"]
mod played;

use std::fs;
use std::io;
use std::path::{Path, PathBuf};
use std::process::ExitCode;
use std::time::Duration;

use common::Report;
use emberline::clock::Stopwatch;
use emberline::line::Pace;
use emberline::sample::{Entry, State};
use emberline::setup::{LineSetup, Setup};
use mock_device::oven::{LEFT_OVER_TUNING, Oven};
use mock_device::panel::Panel;
use mock_device::registers::{Annealer, Layout as _};
use mock_device::wire::{Adapter, Bus, Fault, Faults, Timing, Unit, in_memory};
use played::{Played, opener, paused};

const POLLS: u32 = 7 * 24 * 60 * 60;
/// Of exchanges, for each kind of fault, and of seconds in which the adapter is pulled out.
const SHARE: f64 = 0.01;
const SEED: u64 = 1;
const SETUP: &str = include_str!("../configs/annealing-oven.toml");

const TITLE: &str = "A week: one loop once a second in virtual time, recorded; late, lost, truncated, corrupted, duplicated, foreign, refused, noise, unplugged; each 1 %";
const COLUMNS: [&str; 8] = [
    "polls due",
    "rows",
    "good",
    "day files",
    "recorded",
    "took (aim: 10 s)",
    "processor time",
    "x as fast as time",
];

fn main() -> ExitCode {
    let folder = tempfile::tempdir().unwrap();
    let watch = Stopwatch::start();
    let (good, went_by) = paused().block_on(week(folder.path()));
    let took = watch.elapsed().as_secs_f64();
    let processor = processor::time_so_far().map(|time| format!("{:.1} s", time.as_secs_f64()));
    let days = day_files(folder.path());
    let texts = days.iter().map(|path| fs::read_to_string(path).unwrap());
    let (mut rows, mut bytes) = (0, 0);
    for text in texts {
        // The first line of each names the columns.
        rows += text.lines().count() - 1;
        bytes += text.len();
    }
    let mut report = Report::new(TITLE, &COLUMNS);
    report.row([
        POLLS.to_string(),
        rows.to_string(),
        format!("{:.1} %", 100.0 * f64::from(good) / f64::from(POLLS)),
        days.len().to_string(),
        format!("{:.0} MB", bytes as f64 / 1e6),
        format!("{took:.1} s"),
        processor.unwrap_or_else(|| "cannot be read here".to_owned()),
        format!("{:.0}", went_by.as_secs_f64() / took),
    ]);
    report.expect(rows == POLLS as usize, format!("{rows} rows"));
    report.print()
}

/// Plays it; the number of samples that were whole, and the time that went by.
async fn week(into: &Path) -> (u32, Duration) {
    let map = |_: &str| io::Result::Ok(Annealer.map_text().to_owned());
    let setup = Setup::parse(SETUP, "setup", "week", &map).unwrap();
    let adapter = Adapter::on(in_memory(bus()));
    tokio::spawn(adapter.clone().sits_loosely(SEED, SHARE));
    let mut plugged = |line: &LineSetup| {
        let adapter = adapter.clone();
        opener(Pace::of(&line.port), move || adapter.open())
    };
    let length = setup.loops[0].every * POLLS;
    let mut played = Played::begin(&setup, &mut plugged, length, Some(into)).await;
    let mut good = 0;
    while let Some(entry) = played.next().await {
        if let Entry::Sample(sample) = entry {
            good += u32::from(sample.state == State::Good);
        }
    }
    (good, played.clock.now().elapsed)
}

fn bus() -> Bus {
    let panel = Panel::new(Oven::settled_at(490.0, LEFT_OVER_TUNING, SEED), 1.0);
    let mut bus = Bus::new(vec![Unit::new(1, &Annealer, panel)]);
    bus.timing = Timing::at_baud(9600, Duration::from_millis(10));
    let kinds = Fault::ALL.into_iter().filter(|fault| *fault != Fault::Echo);
    bus.with_faults(kinds.fold(Faults::new(SEED), |faults, kind| faults.with(kind, SHARE)))
}

/// The samples of the one loop of the one recording in `into`.
fn day_files(into: &Path) -> Vec<PathBuf> {
    let inside = |folder: &Path| -> Vec<PathBuf> {
        let entries = fs::read_dir(folder).unwrap();
        entries.map(|entry| entry.unwrap().path()).collect()
    };
    let recording = inside(into).remove(0);
    let names_a_day = |path: &PathBuf| {
        let name = path.file_name().unwrap().to_string_lossy();
        name.starts_with("1970-")
    };
    let files = inside(&recording.join("annealer-top"));
    files.into_iter().filter(names_a_day).collect()
}
