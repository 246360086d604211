//! What the live screen costs: time for a picture over a week of history, bytes to the terminal, memory,
//! and the share of a core with eight loops on it.
#![expect(
    clippy::unwrap_used,
    reason = "a benchmark that cannot go on should stop"
)]

#[path = "../common/mod.rs"]
mod common;
#[path = "../common/memory.rs"]
mod memory;
mod past;
#[cfg(unix)]
#[path = "../common/ovens.rs"]
mod ovens;
mod pictures;
#[cfg(unix)]
mod terminal;
#[cfg(unix)]
#[path = "../common/usage.rs"]
mod usage;

use std::process::ExitCode;

use common::Report;
use past::{Oven, WEEK_S};

const MS_AT_MOST: f64 = 2.0;
const BYTES_AT_MOST: f64 = 1000.0;
const MB_AT_MOST: f64 = 60.0;
const LOOPS: usize = 8;

fn main() -> ExitCode {
    let mut report = Report::new("The live screen", &["what", "must be below", "was"]);
    pictures(&mut report);
    bytes(&mut report);
    memory(&mut report);
    #[cfg(unix)]
    terminal::measure(&mut report);
    report.print()
}

fn tell(report: &mut Report, what: &str, most: Option<f64>, was: f64, unit: &str) {
    let below = most.map_or_else(String::new, |most| format!("{most} {unit}"));
    report.row([what.to_owned(), below, format!("{was:.2} {unit}")]);
    if let Some(most) = most {
        report.expect(was < most, format!("{what}: {was:.2} {unit}"));
    }
}

fn pictures(report: &mut Report) {
    let mut week = pictures::Week::of(Oven::default());
    let most = Some(MS_AT_MOST);
    tell(
        report,
        "a picture of a week at 200x50, median of 200",
        most,
        week.picture_ms(),
        "ms",
    );
    tell(
        report,
        "zooming from a week to a minute: the slowest picture on the way, median of 20",
        most,
        week.zoom_ms(),
        "ms",
    );
    tell(
        report,
        "ratatui's own chart given all 604,800 points of three curves",
        None,
        pictures::chart_ms(Oven::default()),
        "ms",
    );
}

fn bytes(report: &mut Report) {
    tell(
        report,
        "sent for a steady update a second at 120x40, mean of an hour",
        Some(BYTES_AT_MOST),
        pictures::bytes_of_an_update(Oven::default()),
        "bytes",
    );
}

fn memory(report: &mut Report) {
    let before = memory::resident_mb();
    let app = past::app(LOOPS, Oven::default(), WEEK_S);
    let after = memory::resident_mb();
    if let Some((before, after)) = before.zip(after) {
        let what = "memory for a week of 8 loops at one second";
        tell(report, what, Some(MB_AT_MOST), after - before, "MB");
    }
    drop(app);
}
