//! A million exchanges on lines where everything goes wrong: how many values are not what they are
//! recorded as. None may be. The argument is the number of polls of each unit in each trial.
#![expect(
    clippy::unwrap_used,
    reason = "a benchmark that cannot go on should stop"
)]

mod common;
#[path = "../tests/it/certainty/judge.rs"]
mod judge;
#[path = "../tests/it/certainty/listening.rs"]
mod listening;
#[path = "../tests/it/played.rs"]
mod played;
#[path = "../tests/it/certainty/trial.rs"]
mod trial;

use std::process::ExitCode;

use common::Report;
use emberline::clock::Stopwatch;
use listening::Listening;
use trial::Trial;

/// Gives a little over a million exchanges in all trials together.
const POLLS: u32 = 13_000;
const EXCHANGES: u64 = 1_000_000;
/// Rows that are listened for; the same.
const ROWS: u32 = 38_000;

const TITLE: &str = "Certainty: late, lost, truncated, corrupted, duplicated, foreign, refused, noise, unplugged; each 5 %";
const LISTENING: &str =
    "Listening to other masters: the same, and 5 % of what is heard spoiled on its way to us";
const COLUMNS: [&str; 9] = [
    "line",
    "function 08",
    "lengths",
    "exchanges",
    "values",
    "whole polls",
    "wrong register",
    "old answer",
    "s",
];

fn main() -> ExitCode {
    let given = std::env::args().find_map(|word| word.parse().ok());
    let polls = given.unwrap_or(POLLS);
    let mut report = Report::new(TITLE, &COLUMNS);
    let (mut exchanges, mut wrong) = (0, 0);
    for trial in Trial::all(polls) {
        let watch = Stopwatch::start();
        let outcome = trial.run();
        let verdict = &outcome.verdict;
        let choice = |yes, one: &str, other: &str| if yes { one } else { other }.to_owned();
        report.row([
            format!("{:?}", trial.plug),
            choice(trial.returns_query, "answered", "refused"),
            choice(trial.unique_lengths, "unique", "equal"),
            outcome.exchanges.to_string(),
            verdict.values.to_string(),
            format!(
                "{:.0} %",
                100.0 * verdict.good as f64 / verdict.polls as f64
            ),
            verdict.wrong_register.to_string(),
            verdict.old_answer.to_string(),
            format!("{:.1}", watch.elapsed().as_secs_f64()),
        ]);
        report.expect(verdict.wrong() == 0, format!("{trial:?} has wrong values"));
        report.expect(
            verdict.polls == 2 * u64::from(polls),
            format!("{trial:?} lacks rows"),
        );
        exchanges += outcome.exchanges;
        wrong += verdict.wrong();
    }
    let cells = [
        "all",
        "",
        "",
        &exchanges.to_string(),
        "",
        "",
        &wrong.to_string(),
        "",
        "",
    ];
    report.row(cells.map(ToOwned::to_owned));
    report.expect(
        exchanges >= EXCHANGES || given.is_some(),
        format!("only {exchanges} exchanges"),
    );
    let asked = report.print();
    let heard = listen(given);
    if asked == ExitCode::SUCCESS {
        heard
    } else {
        asked
    }
}

/// The same where nothing is asked, and others' requests and answers are heard.
fn listen(given: Option<u32>) -> ExitCode {
    let columns = [
        "line",
        "lengths",
        "masters",
        "exchanges",
        "values",
        "wrong register",
        "old answer",
        "s",
    ];
    let mut report = Report::new(LISTENING, &columns);
    let mut exchanges = 0;
    for trial in Listening::all(given.unwrap_or(ROWS)) {
        let watch = Stopwatch::start();
        let outcome = trial.run();
        let verdict = &outcome.verdict;
        let lengths = if trial.unique_lengths {
            "unique"
        } else {
            "equal"
        };
        report.row([
            format!("{:?}", trial.plug),
            lengths.to_owned(),
            trial.masters.to_string(),
            outcome.exchanges.to_string(),
            verdict.values.to_string(),
            verdict.wrong_register.to_string(),
            verdict.old_answer.to_string(),
            format!("{:.1}", watch.elapsed().as_secs_f64()),
        ]);
        report.expect(verdict.wrong() == 0, format!("{trial:?} has wrong values"));
        report.expect(outcome.sent == 0, format!("{trial:?} sent something"));
        exchanges += outcome.exchanges;
    }
    report.expect(
        exchanges >= EXCHANGES || given.is_some(),
        format!("only {exchanges} exchanges"),
    );
    report.print()
}
