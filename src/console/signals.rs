//! Signals that ask the program to end.

use std::io;

use super::session::Signal;

/// Listens for the signals that end a screen.
#[cfg(unix)]
pub(super) struct Signals {
    interrupt: tokio::signal::unix::Signal,
    terminate: tokio::signal::unix::Signal,
    hangup: tokio::signal::unix::Signal,
}

#[cfg(unix)]
impl Signals {
    pub(super) fn listen() -> io::Result<Self> {
        use tokio::signal::unix::{SignalKind, signal};
        Ok(Self {
            interrupt: signal(SignalKind::interrupt())?,
            terminate: signal(SignalKind::terminate())?,
            hangup: signal(SignalKind::hangup())?,
        })
    }

    /// The next signal; nothing is lost if the wait is given up.
    pub(super) async fn next(&mut self) -> Signal {
        tokio::select! {
            _ = self.interrupt.recv() => Signal::Interrupt,
            _ = self.terminate.recv() => Signal::Terminate,
            _ = self.hangup.recv() => Signal::Hangup,
        }
    }
}

/// Listens for the events that end a screen.
#[cfg(windows)]
pub(super) struct Signals {
    interrupt: tokio::signal::windows::CtrlC,
    terminate: tokio::signal::windows::CtrlBreak,
    hangup: tokio::signal::windows::CtrlClose,
}

#[cfg(windows)]
impl Signals {
    pub(super) fn listen() -> io::Result<Self> {
        use tokio::signal::windows::{ctrl_break, ctrl_c, ctrl_close};
        Ok(Self {
            interrupt: ctrl_c()?,
            terminate: ctrl_break()?,
            hangup: ctrl_close()?,
        })
    }

    /// The next event; nothing is lost if the wait is given up.
    pub(super) async fn next(&mut self) -> Signal {
        tokio::select! {
            _ = self.interrupt.recv() => Signal::Interrupt,
            _ = self.terminate.recv() => Signal::Terminate,
            _ = self.hangup.recv() => Signal::Hangup,
        }
    }
}
