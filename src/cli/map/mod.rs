//! `emberline map`: writing a register map.

mod locate;

use clap::{Args, Subcommand};

use super::{Exit, Stop};

/// Write and check register maps.
///
/// Example: emberline map locate oven.toml --shows 25.3
#[derive(Debug, Args)]
pub(super) struct MapArgs {
    #[command(subcommand)]
    command: MapCommand,
}

#[derive(Debug, Subcommand)]
enum MapCommand {
    Locate(locate::LocateArgs),
}

pub(super) fn run(args: &MapArgs) -> Result<Exit, Stop> {
    match &args.command {
        MapCommand::Locate(args) => locate::run(args),
    }
}
