//! Which loop of which source, and how many of its rows are good.

use std::io::{self, Write};

use super::wrapped;
use crate::figures::fixed;

/// Writes both; `bad` counts the rows that are not good by what is wrong with them.
pub(super) fn write(
    name: &str,
    source: &str,
    rows: usize,
    bad: &[(String, usize)],
    out: &mut dyn Write,
) -> io::Result<()> {
    wrapped::write("", &format!("{name} in {source}"), out)?;
    let rows = fixed(rows as f64, 0);
    if bad.is_empty() {
        return writeln!(out, "{rows} rows, all good");
    }
    let counted = |(why, count): &(String, usize)| format!("{} {why}", fixed(*count as f64, 0));
    let bad: Vec<String> = bad.iter().map(counted).collect();
    let text = format!("{rows} rows, of these {}", bad.join(", "));
    wrapped::write("", &text, out)
}
