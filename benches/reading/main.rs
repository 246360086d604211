//! A recording of a year at one row a second through the reader of every analysis, beside DuckDB and
//! polars on the same files: processor time, time, memory, and whether all find the same.
//!
//! `--days 30` takes less; `--only-agree` asks nothing of the time, as in a build that is not optimised.
//! The peers are in tests/peers/requirements.txt.
#![expect(
    clippy::unwrap_used,
    reason = "a benchmark that cannot go on should stop"
)]
#![expect(
    clippy::print_stdout,
    reason = "the figures go to the process that asked for them"
)]

#[path = "../common/mod.rs"]
mod common;
mod figures;
mod ours;
#[path = "../common/processor.rs"]
mod processor;
mod year;

use std::env;
use std::path::{Path, PathBuf};
use std::process::{Command, ExitCode};

use common::Report;
use figures::Figures;

/// What the faster peer may take at least, ours being 1.
const TIMES: f64 = 8.0;
const MOST_MB: f64 = 50.0;
/// How often each is asked.
const RUNS: usize = 3;
const COLUMNS: [&str; 7] = [
    "read by",
    "what",
    "rows",
    "processor",
    "time",
    "memory",
    "x ours",
];
const ROW: &str = "row";
const PV: &str = "pv";

fn main() -> ExitCode {
    let words: Vec<String> = env::args().collect();
    let value_of = |option: &str| {
        let at = words.iter().position(|word| word == option)?;
        words.get(at + 1)
    };
    if let Some(recording) = value_of("--read") {
        ours::print(Path::new(recording));
        return ExitCode::SUCCESS;
    }
    let days = value_of("--days").map_or(365, |days| days.parse().unwrap());
    let times = if words.iter().any(|word| word == "--only-agree") {
        0.0
    } else {
        TIMES
    };
    compare(&year::recording(days), times)
}

fn compare(recording: &Path, wanted: f64) -> ExitCode {
    let title = "A recording at one row a second: count, mean, sd, min, max, 5 percentiles of process value, setpoint and output; every hour's mean, min, max";
    let mut report = Report::new(title, &COLUMNS);
    let Some(ours) = ours(recording) else {
        report.expect(false, "our own reader said nothing".to_owned());
        return report.print();
    };
    tell(&mut report, "Emberline", ROW, &ours, &ours);
    report.expect(
        ours.taken.peak_mb < MOST_MB,
        format!(
            "{:.0} MB of memory; {MOST_MB} MB are allowed",
            ours.taken.peak_mb
        ),
    );
    for peer in ["duckdb", "polars"] {
        for what in [ROW, PV] {
            let Some(theirs) = peers(peer, what, recording) else {
                report.expect(false, format!("{peer} could not be asked; as in .ci/run: python3 -m venv target/peers/venv; target/peers/venv/bin/pip install -r tests/peers/requirements.txt"));
                break;
            };
            tell(&mut report, peer, what, &theirs, &ours);
            report.expect(
                ours.agree_with(&theirs),
                format!("{peer} finds other figures"),
            );
            let times = theirs.taken.cpu_s / ours.taken.cpu_s;
            // Who needs one column skips the others; the reader of every analysis does not.
            let is_enough = what == PV || times >= wanted;
            report.expect(
                is_enough,
                format!("{peer} takes {times:.1} times as much; {wanted} are wanted"),
            );
        }
    }
    report.print()
}

fn tell(report: &mut Report, by: &str, what: &str, found: &Figures, ours: &Figures) {
    let what = if what == ROW {
        "every row"
    } else {
        "process value alone"
    };
    let taken = found.taken;
    report.row([
        by.to_owned(),
        what.to_owned(),
        found.columns[0][0].to_string(),
        format!("{:.2} s", taken.cpu_s),
        format!("{:.2} s", taken.wall_s),
        format!("{:.0} MB", taken.peak_mb),
        format!("{:.1}", taken.cpu_s / ours.taken.cpu_s),
    ]);
}

fn ours(recording: &Path) -> Option<Figures> {
    let mut command = Command::new(env::current_exe().unwrap());
    asked(command.arg("--read").arg(recording))
}

fn peers(peer: &str, what: &str, recording: &Path) -> Option<Figures> {
    let root = Path::new(env!("CARGO_MANIFEST_DIR"));
    let target: PathBuf = env::var_os("CARGO_TARGET_DIR").map_or(root.join("target"), Into::into);
    let mut command = Command::new(target.join("peers/venv/bin/python"));
    let script = root.join("tests/peers/read_year.py");
    asked(
        command
            .arg(script)
            .args([peer, what])
            .arg(year::files(recording)),
    )
}

/// Asked several times: the time of the run that nothing else disturbed. The first finds the files not
/// in memory, perhaps.
fn asked(command: &mut Command) -> Option<Figures> {
    let asked = (0..RUNS).map(|_| {
        let ended = command.output().ok()?;
        Figures::from_json(&String::from_utf8(ended.stdout).ok()?)
    });
    let runs: Vec<Figures> = asked.collect::<Option<_>>()?;
    let cpu_s = |it: &Figures| it.taken.cpu_s;
    runs.into_iter()
        .min_by(|a, b| cpu_s(a).total_cmp(&cpu_s(b)))
}
