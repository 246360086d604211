//! Where something long is, on standard error: one line that changes on a terminal, a line now and
//! then elsewhere.

use std::io::{self, IsTerminal as _, Write as _};
use std::time::Duration;

use crate::clock::Stopwatch;
use crate::figures;

/// Between two lines, on a terminal and elsewhere.
const CHANGE_EVERY: Duration = Duration::from_millis(200);
const SAY_EVERY: Duration = Duration::from_secs(10);

/// Goes to the start of the line and empties it (ECMA-48: CR, then EL with parameter 2).
const EMPTY_LINE: &str = "\r\x1b[2K";

/// A line that says how far something is.
pub(super) struct StatusLine {
    on_terminal: bool,
    last: Stopwatch,
}

impl StatusLine {
    pub(super) fn new() -> Self {
        Self {
            on_terminal: io::stderr().is_terminal(),
            last: Stopwatch::start(),
        }
    }

    /// Says what part (0 to 1) is done, how long the rest takes at most, and what is being done,
    /// unless that was said just now.
    pub(super) fn tell(&mut self, done: f64, left: Duration, what: impl FnOnce() -> String) {
        let every = if self.on_terminal {
            CHANGE_EVERY
        } else {
            SAY_EVERY
        };
        if self.last.elapsed() < every {
            return;
        }
        self.last = Stopwatch::start();
        let text = format!(
            "{:>3.0} %, at most {} left: {}",
            100.0 * done,
            figures::duration(left.as_secs_f64().ceil()),
            what(),
        );
        let mut err = io::stderr();
        // Progress is a courtesy.
        let _ = if self.on_terminal {
            write!(err, "{EMPTY_LINE}{text}").and_then(|()| err.flush())
        } else {
            writeln!(err, "{text}")
        };
    }

    /// Leaves the line empty for what comes next.
    pub(super) fn end(&self) {
        if self.on_terminal {
            let _ = write!(io::stderr(), "{EMPTY_LINE}");
        }
    }
}
