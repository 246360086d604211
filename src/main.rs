//! The `emberline` program: parse, run, return an exit code.

fn main() {}
