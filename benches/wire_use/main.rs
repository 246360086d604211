//! How well the time on the wire is used: polls of scattered points through the whole line layer
//! against the least time there can be; and in real time, on a pseudo-terminal, the silences kept.
#![expect(
    clippy::unwrap_used,
    reason = "a benchmark that cannot go on should stop"
)]

#[path = "../common/mod.rs"]
mod common;
mod least;
#[path = "../../tests/it/played.rs"]
mod played;
mod polls;
#[cfg(unix)]
mod silences;

use std::process::ExitCode;

use common::Report;
use polls::{Case, Measured};

const TITLE: &str = "Wire use: polls of 12 scattered points of one unit, 40 scatterings each";
const COLUMNS: [&str; 8] = [
    "line",
    "unit answers after",
    "least time",
    "polls/least",
    "worst",
    "equal lengths allowed",
    "worst",
    "point by point/polls",
];
/// What a poll may take, the least time being 1.
const AT_MOST: f64 = 1.02;
/// Less than the least time would mean that one of both is wrong.
const AT_LEAST: f64 = 0.9999;

fn main() -> ExitCode {
    let (wire_use, silences) = (wire_use(), silences());
    if wire_use == ExitCode::SUCCESS {
        silences
    } else {
        wire_use
    }
}

fn wire_use() -> ExitCode {
    let mut report = Report::new(TITLE, &COLUMNS);
    for case in Case::all() {
        let measured = case.measure();
        let sorted = |ratio: fn(&Measured) -> f64| {
            let mut ratios: Vec<f64> = measured.iter().map(ratio).collect();
            ratios.sort_by(f64::total_cmp);
            ratios
        };
        let median = |ratio| sorted(ratio)[measured.len() / 2];
        let worst = |ratio| sorted(ratio)[measured.len() - 1];
        report.row([
            case.line.to_owned(),
            format!("{:.2} ms", case.wire().turnaround / 1000.0),
            format!("{:.1} ms", median(|it| it.least) / 1000.0),
            format!("{:.4}", median(|it| it.ruled)),
            format!("{:.4}", worst(|it| it.ruled)),
            format!("{:.3}", median(|it| it.free)),
            format!("{:.3}", worst(|it| it.free)),
            format!("{:.2}", median(|it| it.single)),
        ]);
        let most = worst(|it| it.ruled);
        report.expect(most <= AT_MOST, format!("{case:?}: {most:.4} > {AT_MOST}"));
        let least = sorted(|it| it.ruled)[0];
        report.expect(
            least >= AT_LEAST,
            format!("{case:?}: less than the least time, {least:.4}"),
        );
    }
    report.print()
}

#[cfg(not(unix))]
fn silences() -> ExitCode {
    Report::new(
        "Silences: not measured, there are no pseudo-terminals here",
        &[""],
    )
    .print()
}

#[cfg(unix)]
fn silences() -> ExitCode {
    let title = "Silences before a request, in real time on a pseudo-terminal";
    let columns = [
        "line",
        "silences",
        "asked for",
        "shortest",
        "median",
        "worst",
    ];
    let mut report = Report::new(title, &columns);
    for case in Case::all().into_iter().filter(|case| !case.keeps_silence) {
        let asked = std::time::Duration::from_secs_f64(case.wire().silence / 1e6);
        let kept = silences::kept(case);
        let beyond = |at: usize| 1e3 * (kept[at].as_secs_f64() - asked.as_secs_f64());
        report.row([
            case.line.to_owned(),
            kept.len().to_string(),
            format!("{:.3} ms", 1e3 * asked.as_secs_f64()),
            format!("{:+.3} ms", beyond(0)),
            format!("{:+.3} ms", beyond(kept.len() / 2)),
            format!("{:+.3} ms", beyond(kept.len() - 1)),
        ]);
        report.expect(
            kept[0] >= asked,
            format!("{}: a silence was too short", case.line),
        );
    }
    report.print()
}
