//! Where a sweep is, on standard error: one line that changes on a terminal, a line now and then
//! elsewhere.

use std::io::{self, IsTerminal as _, Write as _};
use std::time::Duration;

use super::report::{functions, setting};
use crate::clock::Stopwatch;
use crate::figures;
use crate::line::{Asking, Found, News, describe_port};

/// Between two lines, on a terminal and elsewhere.
const CHANGE_EVERY: Duration = Duration::from_millis(200);
const SAY_EVERY: Duration = Duration::from_secs(10);

/// Goes to the start of the line and empties it (ECMA-48: CR, then EL with parameter 2).
const EMPTY_LINE: &str = "\r\x1b[2K";

/// Says what is about to be done, and how long that may take.
pub(super) fn announce(what: &str, longest: Duration) {
    let longest = figures::duration(longest.as_secs_f64().ceil());
    // Progress is a courtesy.
    let _ = writeln!(
        io::stderr(),
        "{what}, at most {longest}; nothing is written; Ctrl-C ends it and shows what was found"
    );
}

/// Tells a person how far a sweep is.
pub(super) struct Progress {
    on_terminal: bool,
    last: Stopwatch,
}

impl Progress {
    pub(super) fn new() -> Self {
        Self {
            on_terminal: io::stderr().is_terminal(),
            last: Stopwatch::start(),
        }
    }

    pub(super) fn tell(&mut self, news: News<'_>) {
        match news {
            News::Asking(asking) => self.asking(&asking),
            News::Found(found) => self.found(found),
        }
    }

    fn asking(&mut self, asking: &Asking<'_>) {
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
            "{:>3.0} %, at most {} left: unit {} at {}",
            100.0 * asking.done,
            figures::duration(asking.left.as_secs_f64().ceil()),
            asking.unit.get(),
            setting(asking.port),
        );
        self.say(&text);
    }

    fn found(&mut self, found: &Found) {
        self.end();
        let text = format!(
            "found unit {} on {}: function {}",
            found.unit.get(),
            describe_port(&found.port),
            functions(found)
        );
        let _ = writeln!(io::stderr(), "{text}");
    }

    fn say(&self, text: &str) {
        let mut err = io::stderr();
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
