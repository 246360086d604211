//! The `emberline` program: parse, run, return an exit code.

use std::process::ExitCode;

fn main() -> ExitCode {
    emberline::cli::main()
}
