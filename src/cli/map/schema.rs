//! `emberline map schema`: what editors check maps and setups by.

use std::io::{self, Write as _};

use clap::Args;

use crate::cli::{Exit, Stop};
use crate::map::Map;
use crate::setup::Setup;

/// Print the JSON Schema of register maps, by which editors complete and check them.
///
/// Keep it beside your maps, and begin each map with the line `#:schema map.schema.json`.
///
/// Example: emberline map schema > map.schema.json
#[derive(Debug, Args)]
pub(super) struct SchemaArgs {
    /// That of setup files instead.
    #[arg(long)]
    setup: bool,
}

pub(super) fn run(args: &SchemaArgs) -> Result<Exit, Stop> {
    let schema = if args.setup {
        Setup::schema()
    } else {
        Map::schema()
    };
    writeln!(io::stdout().lock(), "{schema:#}")?;
    Ok(Exit::Done)
}
