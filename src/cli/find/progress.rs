//! Where a sweep is, on standard error.

use std::io::{self, Write as _};
use std::time::Duration;

use super::report::{functions, setting};
use crate::cli::listening::tell;
use crate::cli::status_line::StatusLine;
use crate::figures;
use crate::line::{Found, News};
use crate::setup::Port;

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
    line: StatusLine,
}

impl Progress {
    pub(super) fn new() -> Self {
        let line = StatusLine::new();
        Self { line }
    }

    pub(super) fn tell(&mut self, news: News<'_>) {
        match news {
            News::Listening(port, time) => listening(port, time),
            News::Asking(asking) => self.line.tell(asking.done, asking.left, || {
                let unit = asking.unit.get();
                format!("unit {unit} at {}", setting(asking.port))
            }),
            News::Found(found) => self.found(found),
        }
    }

    fn found(&mut self, found: &Found) {
        self.end();
        let text = format!(
            "found unit {} on {}: function {}",
            found.unit.get(),
            found.port,
            functions(found)
        );
        let _ = writeln!(io::stderr(), "{text}");
    }

    /// Leaves the line empty for what comes next.
    pub(super) fn end(&self) {
        self.line.end();
    }
}

/// Says that others are listened for, where that can be.
fn listening(port: &Port, time: Duration) {
    if !matches!(port, Port::Tcp(_)) && !time.is_zero() {
        let (at, time) = (port.name(), figures::wait(time));
        tell(&format!("listening for somebody else on {at} for {time}"));
    }
}
