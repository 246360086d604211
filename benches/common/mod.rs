//! What every benchmark prints: an aligned table, and whether a number was missed.

use std::io::{self, Write as _};
use std::process::ExitCode;

/// A table, and what was missed.
pub(crate) struct Report {
    title: &'static str,
    rows: Vec<Vec<String>>,
    missed: Vec<String>,
}

impl Report {
    /// An empty table with these columns.
    pub(crate) fn new(title: &'static str, columns: &[&str]) -> Self {
        Self {
            title,
            rows: vec![columns.iter().map(ToString::to_string).collect()],
            missed: Vec::new(),
        }
    }

    /// One more row.
    pub(crate) fn row<const N: usize>(&mut self, cells: [String; N]) {
        self.rows.push(cells.into());
    }

    /// Notes a number that was not reached.
    pub(crate) fn expect(&mut self, holds: bool, what: impl Into<String>) {
        if !holds {
            self.missed.push(what.into());
        }
    }

    /// Prints it; the exit code says whether every number was reached.
    pub(crate) fn print(self) -> ExitCode {
        let width = |column: usize| {
            let cells = self.rows.iter().filter_map(|row| row.get(column));
            cells.map(|cell| cell.chars().count()).max().unwrap_or(0)
        };
        let widths: Vec<usize> = (0..self.rows[0].len()).map(width).collect();
        let line = |row: &Vec<String>| {
            let cells = row.iter().zip(&widths).enumerate();
            let padded = cells.map(|(column, (cell, width))| match column {
                0 => format!("  {cell:width$}"),
                _ => format!("  {cell:>width$}"),
            });
            padded.collect::<String>()
        };
        let mut lines = vec![self.title.to_owned()];
        lines.extend(self.rows.iter().map(line));
        lines.extend(self.missed.iter().map(|what| format!("MISSED: {what}")));
        let text = lines.join("\n") + "\n\n";
        // A reader that has seen enough is no failure.
        let _ = io::stdout().write_all(text.as_bytes());
        if self.missed.is_empty() {
            ExitCode::SUCCESS
        } else {
            ExitCode::FAILURE
        }
    }
}
