//! `emberline steady` of a year at one row a second, beside the bare reading of the same files: processor
//! time, memory; and of a week.
//!
//! `--days 30` takes less than a year.
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
#[path = "../common/processor.rs"]
mod processor;
#[path = "../reading/year.rs"]
mod year;

use std::path::Path;
use std::process::{Command, ExitCode};
use std::{env, fs, io};

use clap::Parser;
use common::Report;
use emberline::cli::steady::{SteadyArgs, run};
use emberline::clock::Stopwatch;
use emberline::record::{CsvColumns, open_source};

/// What `steady` of a year may take at most, the bare reading being 1.
const TIMES: f64 = 4.0;
const MOST_MB: f64 = 300.0;
/// What a week may take, in seconds.
const WEEK_S: f64 = 0.5;
/// How often each is asked; the run that nothing else disturbed counts.
const RUNS: usize = 3;
const COLUMNS: [&str; 6] = ["what", "of", "processor", "time", "memory", "x bare"];

#[derive(Parser)]
struct Line {
    #[command(flatten)]
    steady: SteadyArgs,
}

fn main() -> ExitCode {
    let words: Vec<String> = env::args().collect();
    let value_of = |option: &str| {
        let at = words.iter().position(|word| word == option)?;
        words.get(at + 1)
    };
    if let Some(recording) = value_of("--bare") {
        return measured(|| bare(Path::new(recording)));
    }
    if let Some(recording) = value_of("--steady") {
        return measured(|| steady(recording));
    }
    compare(value_of("--days").map_or(365, |days| days.parse().unwrap()))
}

fn compare(days: u64) -> ExitCode {
    let title = "How steady a loop was, at one row a second";
    let mut report = Report::new(title, &COLUMNS);
    let long = year::recording(days);
    let bare = asked("--bare", &long);
    let whole = asked("--steady", &long);
    let times = whole.cpu_s / bare.cpu_s;
    let of = format!("{days} days");
    tell(&mut report, "bare reading", &of, bare, 1.0);
    tell(&mut report, "steady", &of, whole, times);
    report.expect(
        times <= TIMES,
        format!("{times:.1} times the bare reading; {TIMES} are allowed"),
    );
    report.expect(
        whole.peak_mb < MOST_MB,
        format!(
            "{:.0} MB of memory; {MOST_MB} MB are allowed",
            whole.peak_mb
        ),
    );
    let short = year::recording(7);
    let (bare, week) = (asked("--bare", &short), asked("--steady", &short));
    tell(
        &mut report,
        "steady",
        "7 days",
        week,
        week.cpu_s / bare.cpu_s,
    );
    report.expect(
        week.wall_s < WEEK_S,
        format!("a week takes {:.2} s; {WEEK_S} s are allowed", week.wall_s),
    );
    report.print()
}

/// What a run took: processor time, time, most memory.
#[derive(Clone, Copy)]
struct Taken {
    cpu_s: f64,
    wall_s: f64,
    peak_mb: f64,
}

fn tell(report: &mut Report, what: &str, of: &str, taken: Taken, times: f64) {
    report.row([
        what.to_owned(),
        of.to_owned(),
        format!("{:.2} s", taken.cpu_s),
        format!("{:.2} s", taken.wall_s),
        format!("{:.0} MB", taken.peak_mb),
        format!("{times:.1}"),
    ]);
}

/// Asks a process of its own, several times; the first finds the files not in memory, perhaps.
fn asked(what: &str, recording: &Path) -> Taken {
    let one = || {
        let mut command = Command::new(env::current_exe().unwrap());
        let ended = command.arg(what).arg(recording).output().unwrap();
        let text = String::from_utf8(ended.stdout).unwrap();
        let last = text.lines().last().unwrap();
        let numbers: Vec<f64> = last.split(' ').map(|it| it.parse().unwrap()).collect();
        Taken {
            cpu_s: numbers[0],
            wall_s: numbers[1],
            peak_mb: numbers[2],
        }
    };
    let runs = (0..RUNS).map(|_| one());
    runs.min_by(|a, b| a.cpu_s.total_cmp(&b.cpu_s)).unwrap()
}

fn measured(work: impl FnOnce()) -> ExitCode {
    let watch = Stopwatch::start();
    work();
    println!(
        "{} {} {}",
        processor::time_so_far().map_or(f64::NAN, |it| it.as_secs_f64()),
        watch.elapsed().as_secs_f64(),
        peak_mb().unwrap_or(f64::NAN)
    );
    ExitCode::SUCCESS
}

/// Reads every row, and does with it as little as can be seen not to be left out.
fn bare(recording: &Path) {
    let opened = open_source(recording, &CsvColumns::default()).unwrap();
    let mut sum = 0.0;
    for block in opened.loops[0].samples() {
        for sample in block.unwrap().iter().filter(|it| !it.pv.is_nan()) {
            sum += sample.pv + sample.setpoint + sample.output;
        }
    }
    assert!(sum > 0.0);
}

fn steady(recording: &str) {
    let args = Line::parse_from(["steady", recording, "--json"]).steady;
    let source = open_source(&args.source, &args.reading.columns()).unwrap();
    run(&args, &source, &mut io::sink()).unwrap();
}

/// The most memory this process has taken (proc_pid_status(5)).
fn peak_mb() -> Option<f64> {
    let status = fs::read_to_string("/proc/self/status").ok()?;
    let line = status.lines().find_map(|it| it.strip_prefix("VmHWM:"))?;
    let kilobytes: f64 = line.trim().strip_suffix(" kB")?.parse().ok()?;
    Some(kilobytes / 1024.0)
}
