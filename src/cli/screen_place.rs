//! Whether there is a terminal that the live screen can be on.

use std::io::{self, IsTerminal as _};

use super::{Exit, Stop};

/// Why the live screen cannot be shown here; `None` where it can.
pub(super) fn obstacle() -> Option<&'static str> {
    let is_dumb = std::env::var_os("TERM").is_some_and(|it| it == "dumb");
    if !io::stdout().is_terminal() {
        Some("standard output is no terminal")
    } else if is_dumb {
        Some("this terminal shows plain lines only (TERM=dumb)")
    } else if !has_keyboard() {
        Some("there is no keyboard: standard input is no terminal")
    } else {
        None
    }
}

/// Refuses to show the screen where it cannot be, before anything is opened.
pub(super) fn check() -> Result<(), Stop> {
    obstacle().map_or(Ok(()), |why| {
        Err(Stop::new(
            Exit::WrongUse,
            format!(
                "the live screen cannot be shown: {why}\n\
                 help: 'emberline read --repeat' shows values in plain lines, and 'emberline record' \
                 records and tells what happens"
            ),
        ))
    })
}

/// Keys come from the terminal the program runs on, also where standard input comes from elsewhere.
#[cfg(unix)]
fn has_keyboard() -> bool {
    io::stdin().is_terminal() || std::fs::File::open("/dev/tty").is_ok()
}

/// A console program has its console's.
#[cfg(not(unix))]
fn has_keyboard() -> bool {
    true
}
