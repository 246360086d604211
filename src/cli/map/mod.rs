//! `emberline map`: writing a register map.

mod check;
mod check_text;
mod locate;
mod schema;
mod start;

use clap::{Args, Subcommand};

use super::{Exit, Stop};

/// Write and check register maps.
///
/// Example: emberline map check maps/oven.toml
#[derive(Debug, Args)]
pub(super) struct MapArgs {
    #[command(subcommand)]
    command: MapCommand,
}

#[derive(Debug, Subcommand)]
enum MapCommand {
    Check(check::CheckArgs),
    New(start::NewArgs),
    Schema(schema::SchemaArgs),
    Locate(locate::LocateArgs),
}

pub(super) fn run(args: &MapArgs) -> Result<Exit, Stop> {
    match &args.command {
        MapCommand::Check(args) => check::run(args),
        MapCommand::New(args) => start::run(args),
        MapCommand::Schema(args) => schema::run(args),
        MapCommand::Locate(args) => locate::run(args),
    }
}
