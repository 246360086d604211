//! What the recorder costs the machine it runs on: the program itself, started as a person starts it,
//! with 8 loops on two lines at one row a second, in real time.
#![expect(
    clippy::unwrap_used,
    reason = "a benchmark that cannot go on should stop"
)]

mod common;
#[path = "common/ovens.rs"]
mod ovens;
#[path = "common/usage.rs"]
mod usage;

use std::path::Path;
use std::process::{Child, Command, ExitCode, Output, Stdio};
use std::thread;
use std::time::Duration;

use common::Report;
use emberline::clock::Stopwatch;
use emberline::record::verify;
use usage::Usage;

/// Until everything has begun.
const FIRST: Duration = Duration::from_secs(5);
const MEASURED: Duration = Duration::from_mins(1);
const CORE_AT_MOST: f64 = 0.005;
const MB_AT_MOST: f64 = 20.0;

const TITLE: &str =
    "Own cost: 'record' with 8 loops at one row a second each, 60 s in real time, synced every 5 s";
const COLUMNS: [&str; 4] = ["rows", "of one core", "of it in the system", "most memory"];

fn main() -> ExitCode {
    let mut report = Report::new(TITLE, &COLUMNS);
    let folder = tempfile::tempdir().unwrap();
    ovens::write_setup(folder.path());
    let recorder = record(folder.path());
    thread::sleep(FIRST);
    let before = Usage::of(&recorder);
    let watch = Stopwatch::start();
    thread::sleep(MEASURED);
    let (after, took) = (Usage::of(&recorder), watch.elapsed());
    let rows = rows(recorder.wait_with_output().unwrap(), folder.path());
    let Some((before, after)) = before.zip(after) else {
        let unknown = || "cannot be read here".to_owned();
        report.row([rows.to_string(), unknown(), unknown(), unknown()]);
        return report.print();
    };
    let share = |after: Duration, before: Duration| {
        after.saturating_sub(before).as_secs_f64() / took.as_secs_f64()
    };
    let system = share(after.system, before.system);
    let core = share(after.user, before.user) + system;
    report.row([
        rows.to_string(),
        format!("{:.2} %", 100.0 * core),
        format!("{:.2} %", 100.0 * system),
        format!("{:.1} MB", after.most_mb),
    ]);
    report.expect(
        core < CORE_AT_MOST,
        format!("{:.2} % of one core", 100.0 * core),
    );
    report.expect(
        after.most_mb < MB_AT_MOST,
        format!("{:.1} MB", after.most_mb),
    );
    report.print()
}

fn record(folder: &Path) -> Child {
    let seconds = (FIRST + MEASURED + Duration::from_secs(2)).as_secs();
    Command::new(env!("CARGO_BIN_EXE_emberline"))
        .args([
            "record",
            "setup.toml",
            "--into",
            ".",
            "--listen-first",
            "0s",
        ])
        .args(["--for", &format!("{seconds}s")])
        .current_dir(folder)
        .stdout(Stdio::piped())
        .stderr(Stdio::null())
        .spawn()
        .unwrap()
}

/// The program's recording is whole and has a row for every poll: so many.
fn rows(ended: Output, folder: &Path) -> u64 {
    assert!(ended.status.success(), "{ended:?}");
    let name = String::from_utf8(ended.stdout).unwrap();
    let verified = verify(&folder.join(name.trim())).unwrap();
    assert!(verified.is_whole(), "{verified:?}");
    verified.loops.iter().map(|it| it.rows).sum()
}
