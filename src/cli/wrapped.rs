//! Sentences in lines that fit a terminal.

use std::io::{self, Write};

/// Text stays within this.
pub(super) const WIDTH: usize = 80;

/// Words in lines that fit; lines after the first are set in by two more.
pub(super) fn write(indent: &str, text: &str, out: &mut dyn Write) -> io::Result<()> {
    let mut line = String::from(indent);
    for word in text.split(' ') {
        let is_empty = line.trim().is_empty();
        if !is_empty && line.chars().count() + 1 + word.chars().count() > WIDTH {
            writeln!(out, "{line}")?;
            line = format!("{indent}  {word}");
            continue;
        }
        if !is_empty {
            line.push(' ');
        }
        line.push_str(word);
    }
    writeln!(out, "{line}")
}
