//! What this process is, as others read it.

use std::path::Path;

/// The command as it was typed: `emberline record oven.toml --into recordings`.
pub fn command() -> String {
    let mut words = std::env::args_os();
    let program = words.next().unwrap_or_default();
    let program = Path::new(&program).file_stem().unwrap_or_default();
    let rest = words.map(|word| quoted(&word.to_string_lossy()));
    let words: Vec<String> = std::iter::once(program.to_string_lossy().into_owned())
        .chain(rest)
        .collect();
    words.join(" ")
}

/// `process 4711 (emberline record oven.toml --into recordings)`
pub fn in_words() -> String {
    format!("process {} ({})", std::process::id(), command())
}

/// As it stands between others: a word with spaces in quotes.
fn quoted(word: &str) -> String {
    if word.is_empty() || word.contains(char::is_whitespace) {
        format!("'{word}'")
    } else {
        word.to_owned()
    }
}
