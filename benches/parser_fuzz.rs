//! A million map and setup files that nobody would write: none may make the readers panic, each is
//! read or refused with a reason, and readers and schemas agree. The argument is another number of
//! inputs; a second one is the first input's number. A single input is shown.
#![expect(
    clippy::unwrap_used,
    reason = "a benchmark that cannot go on should stop"
)]

mod common;
#[path = "../tests/it/robust/inputs.rs"]
mod inputs;
#[path = "../tests/it/robust/judge.rs"]
mod judge;
#[path = "../tests/it/robust/random.rs"]
mod random;

use std::panic::{self, AssertUnwindSafe};
use std::process::ExitCode;

use common::Report;
use emberline::clock::Stopwatch;
use judge::{Count, Judge};

const INPUTS: u64 = 1_000_000;
/// So many that went wrong are shown.
const SHOWN: usize = 20;

const COLUMNS: [&str; 7] = [
    "inputs",
    "good TOML",
    "maps read",
    "setups read",
    "good by a schema",
    "wrong",
    "s",
];

fn main() -> ExitCode {
    let mut given = std::env::args().filter_map(|word| word.parse::<u64>().ok());
    let inputs = given.next().unwrap_or(INPUTS);
    let first = given.next().unwrap_or(0);
    let mut report = Report::new(
        "Parser fuzz: changed files, random TOML, random text",
        &COLUMNS,
    );
    let watch = Stopwatch::start();
    let judge = Judge::new();
    let (mut count, mut wrong) = (Count::default(), Vec::new());
    for number in first..first + inputs {
        let text = judge.inputs.of(number);
        let judged = panic::catch_unwind(AssertUnwindSafe(|| judge.judge(&text, &mut count)));
        match judged {
            Ok(Ok(())) => {}
            Ok(Err(how)) => wrong.push(format!("input {number}: {how}")),
            Err(_) => wrong.push(format!("input {number}: a panic")),
        }
        if inputs == 1 {
            wrong.push(text);
        }
    }
    report.row([
        count.inputs.to_string(),
        count.toml.to_string(),
        count.maps.to_string(),
        count.setups.to_string(),
        count.by_schema.to_string(),
        wrong.len().to_string(),
        format!("{:.0}", watch.elapsed().as_secs_f64()),
    ]);
    report.expect(
        wrong.is_empty(),
        format!("{} inputs went wrong", wrong.len()),
    );
    for what in wrong.into_iter().take(SHOWN) {
        report.expect(false, what);
    }
    report.print()
}
