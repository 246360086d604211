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

/// The number in what [`in_words`] gave.
pub fn number_in(words: &str) -> Option<u32> {
    words
        .strip_prefix("process ")?
        .split(' ')
        .next()?
        .parse()
        .ok()
}

/// `process 4711 (emberline record oven.toml --into recordings)`
pub fn in_words() -> String {
    format!("process {} ({})", std::process::id(), command())
}

/// How a person lets another of these processes end in order: `'kill -TERM 4711' ends it in order`.
pub fn how_to_end(process: u32) -> String {
    if cfg!(unix) {
        format!("'kill -TERM {process}' ends it in order")
    } else {
        // Nothing else reaches a console program without killing it.
        "Ctrl-C in its window ends it in order".to_owned()
    }
}

/// As it stands between others: a word with spaces in quotes.
fn quoted(word: &str) -> String {
    if word.is_empty() || word.contains(char::is_whitespace) {
        format!("'{word}'")
    } else {
        word.to_owned()
    }
}

#[cfg(test)]
mod tests {
    #[test]
    fn a_process_is_known_from_its_words() {
        let words = super::in_words();
        assert_eq!(super::number_in(&words), Some(std::process::id()));
        assert_eq!(super::number_in("somebody"), None);
    }
}
