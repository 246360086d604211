//! The signals that ask the program to end in order.

use std::io;

/// Waits for a signal that asks the program to end: interrupt, terminate or hang-up on unix,
/// Ctrl-C, Ctrl-Break or a closing console on Windows. Gives its name.
///
/// # Errors
/// The system does not let signals be heard.
#[cfg(unix)]
pub(super) async fn asked_to_end() -> io::Result<&'static str> {
    use tokio::signal::unix::{SignalKind, signal};
    let mut interrupt = signal(SignalKind::interrupt())?;
    let mut terminate = signal(SignalKind::terminate())?;
    let mut hangup = signal(SignalKind::hangup())?;
    Ok(tokio::select! {
        _ = interrupt.recv() => "interrupted",
        _ = terminate.recv() => "terminated",
        _ = hangup.recv() => "the terminal was closed",
    })
}

/// As on unix.
#[cfg(windows)]
pub(super) async fn asked_to_end() -> io::Result<&'static str> {
    use tokio::signal::windows::{ctrl_break, ctrl_c, ctrl_close, ctrl_shutdown};
    let (mut c, mut pause) = (ctrl_c()?, ctrl_break()?);
    let (mut close, mut shutdown) = (ctrl_close()?, ctrl_shutdown()?);
    Ok(tokio::select! {
        _ = c.recv() => "interrupted",
        _ = pause.recv() => "interrupted",
        _ = close.recv() => "the console was closed",
        _ = shutdown.recv() => "the machine is shut down",
    })
}
