//! What a loop's figures look like, in sentences; dangers first.

use std::io::{self, Write};

use super::wrapped;
use crate::analysis::Diagnosis;

/// Writes each diagnosis with its evidence, and a line behind them; nothing where there is none.
/// `when` says a time of the record.
pub(super) fn write(
    found: &[Diagnosis],
    when: &dyn Fn(f64) -> String,
    out: &mut dyn Write,
) -> io::Result<()> {
    let (dangers, others): (Vec<_>, Vec<_>) = found.iter().partition(|it| it.is_danger);
    for one in dangers.iter().chain(&others) {
        let word = if one.is_danger {
            "DANGER"
        } else {
            "Looks like"
        };
        wrapped::write("", &format!("{word}: {}.", one.text), out)?;
        let first = one
            .start_s
            .map_or_else(String::new, |at_s| format!("from {} on: ", when(at_s)));
        wrapped::write("  ", &format!("{first}{}", one.evidence), out)?;
    }
    if !found.is_empty() {
        writeln!(out)?;
    }
    Ok(())
}
