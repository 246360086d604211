//! The commands: the only part that parses arguments, prints, and picks exit codes.

mod against;
mod allowance;
mod awaiting;
mod awake;
mod before_after;
mod degrees;
mod demo;
mod diagnosis_text;
pub mod evidence;
mod evidence_json;
mod exit;
mod export;
mod find;
mod follow;
mod health;
mod json_rows;
mod judge;
mod lines;
mod listening;
mod manual;
mod map;
mod mark;
pub mod measure;
mod measure_text;
mod on;
mod owning;
mod read;
pub mod reading;
mod record;
mod row_counts;
mod running;
mod screen_place;
mod service;
mod status_line;
pub mod steady;
mod steady_csv;
mod steady_json;
mod steady_tables;
mod steady_text;
mod target;
mod verify;
mod watch;
mod whole_file;
mod wrapped;

use std::process::ExitCode;

use clap::{Parser, Subcommand};

pub use exit::{Exit, Stop};

/// Watch, record and judge heating loops over Modbus RTU.
///
/// Emberline watches; it does not protect. Keep an independent over-temperature cut-out.
#[derive(Debug, Parser)]
#[command(name = "emberline", version, max_term_width = 100, after_help = AFTER_HELP)]
struct Arguments {
    #[command(subcommand)]
    command: Command,
}

const AFTER_HELP: &str = "\
Begin with 'emberline demo': the whole job on a simulated annealing oven, no hardware.
Exit codes: 0 done; 1 done, criteria not met; 2 wrong use; 3 line or controller; 4 files and disks.";

#[derive(Debug, Subcommand)]
enum Command {
    Demo(demo::DemoArgs),
    Find(find::FindArgs),
    Map(map::MapArgs),
    Read(read::ReadArgs),
    Watch(watch::WatchArgs),
    Record(record::RecordArgs),
    Mark(mark::MarkArgs),
    Await(awaiting::AwaitArgs),
    Verify(verify::VerifyArgs),
    Measure(measure::MeasureArgs),
    Steady(steady::SteadyArgs),
    Evidence(evidence::EvidenceArgs),
    Export(export::ExportArgs),
    Completions(manual::CompletionsArgs),
    Manual(manual::ManualArgs),
}

/// Runs the program with its own arguments.
pub fn main() -> ExitCode {
    let arguments = match Arguments::try_parse() {
        Ok(arguments) => arguments,
        Err(error) => return exit::of_usage(&error),
    };
    let done = match &arguments.command {
        Command::Demo(args) => demo::run(args),
        Command::Find(args) => find::run(args),
        Command::Watch(args) => watch::run(args),
        Command::Map(args) => map::run(args),
        Command::Read(args) => read::run(args),
        Command::Record(args) => record::run(args),
        Command::Mark(args) => mark::run(args),
        Command::Await(args) => awaiting::run(args),
        Command::Verify(args) => verify::run(args),
        Command::Measure(args) => measure::command(args),
        Command::Steady(args) => steady::command(args),
        Command::Evidence(args) => evidence::command(args),
        Command::Export(args) => export::run(args),
        Command::Completions(args) => manual::completions(args),
        Command::Manual(args) => manual::manual(args),
    };
    exit::code(done)
}
