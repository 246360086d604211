//! `mock-device`: a simulated oven on a wire, for anything that speaks Modbus.

mod args;
mod hands;
mod run;
mod setup_text;

use std::io::{self, Write};
use std::process::ExitCode;

use clap::Parser;

use args::Args;

/// It could not listen where it was told to, or could not write the setup.
const CANNOT_LISTEN: u8 = 4;

fn main() -> ExitCode {
    // `parse` ends a wrong use with exit code 2 and its own text.
    let args = Args::parse();
    let ended = tokio::runtime::Builder::new_current_thread()
        .enable_all()
        .build()
        .map_err(run::Failure::Runtime)
        .and_then(|runtime| runtime.block_on(run::run(&args)));
    match ended {
        Ok(()) => ExitCode::SUCCESS,
        Err(failure) => {
            // Where even this cannot be written, the exit code has to say it.
            let _ = writeln!(io::stderr(), "error: {failure}");
            ExitCode::from(CANNOT_LISTEN)
        }
    }
}
