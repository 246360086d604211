//! The signals that ask the program to end in order.

use std::fmt;
use std::io;

/// What asked the program to end.
#[derive(Clone, Copy, Debug, PartialEq, Eq)]
pub enum Signal {
    /// SIGINT; Ctrl-C or Ctrl-Break on Windows.
    Interrupt,
    /// SIGTERM; the machine is being shut down on Windows.
    Terminate,
    /// SIGHUP, a closed console: the terminal is gone.
    Hangup,
}

impl fmt::Display for Signal {
    fn fmt(&self, f: &mut fmt::Formatter<'_>) -> fmt::Result {
        f.write_str(match self {
            Self::Interrupt => "interrupted",
            Self::Terminate => "terminated",
            Self::Hangup => "the terminal was closed",
        })
    }
}

/// Listens for them; while one of these is there they end nothing by themselves.
#[cfg(unix)]
pub struct Signals {
    interrupt: tokio::signal::unix::Signal,
    terminate: tokio::signal::unix::Signal,
    hangup: tokio::signal::unix::Signal,
}

#[cfg(unix)]
impl Signals {
    /// Begins to listen.
    ///
    /// # Errors
    /// The system does not let signals be heard.
    pub fn listen() -> io::Result<Self> {
        use tokio::signal::unix::{SignalKind, signal};
        Ok(Self {
            interrupt: signal(SignalKind::interrupt())?,
            terminate: signal(SignalKind::terminate())?,
            hangup: signal(SignalKind::hangup())?,
        })
    }

    /// The next signal; nothing is lost if the wait is given up.
    pub async fn next(&mut self) -> Signal {
        tokio::select! {
            _ = self.interrupt.recv() => Signal::Interrupt,
            _ = self.terminate.recv() => Signal::Terminate,
            _ = self.hangup.recv() => Signal::Hangup,
        }
    }
}

/// Listens for them; while one of these is there they end nothing by themselves.
#[cfg(windows)]
pub struct Signals {
    interrupt: tokio::signal::windows::CtrlC,
    pause: tokio::signal::windows::CtrlBreak,
    close: tokio::signal::windows::CtrlClose,
    shutdown: tokio::signal::windows::CtrlShutdown,
}

#[cfg(windows)]
impl Signals {
    /// Begins to listen.
    ///
    /// # Errors
    /// The system does not let console events be heard.
    pub fn listen() -> io::Result<Self> {
        use tokio::signal::windows::{ctrl_break, ctrl_c, ctrl_close, ctrl_shutdown};
        Ok(Self {
            interrupt: ctrl_c()?,
            pause: ctrl_break()?,
            close: ctrl_close()?,
            shutdown: ctrl_shutdown()?,
        })
    }

    /// The next event; nothing is lost if the wait is given up.
    pub async fn next(&mut self) -> Signal {
        tokio::select! {
            _ = self.interrupt.recv() => Signal::Interrupt,
            _ = self.pause.recv() => Signal::Interrupt,
            _ = self.close.recv() => Signal::Hangup,
            _ = self.shutdown.recv() => Signal::Terminate,
        }
    }
}

/// Waits for a signal that asks the program to end.
///
/// # Errors
/// The system does not let signals be heard.
pub async fn asked_to_end() -> io::Result<Signal> {
    Ok(Signals::listen()?.next().await)
}

/// The same for a program that outlives its terminal.
///
/// # Errors
/// The system does not let signals be heard.
pub async fn asked_to_end_by_somebody() -> io::Result<Signal> {
    let mut signals = Signals::listen()?;
    loop {
        // A closed terminal may tell so more than once.
        match signals.next().await {
            Signal::Hangup => {}
            signal => return Ok(signal),
        }
    }
}
