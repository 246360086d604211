//! Exit codes, and the errors that lead to them.

use std::fmt;
use std::io::{self, Write as _};
use std::process::ExitCode;

use crate::line::PortError;
use crate::record::{ReadError, RecordError};
use crate::spanned::FileErrors;

/// How a command ended.
#[derive(Clone, Copy, Debug, PartialEq, Eq)]
pub enum Exit {
    /// Done; criteria met.
    Done = 0,
    /// Done; criteria not met, or the awaited thing did not happen.
    NotMet = 1,
    /// Wrong use: arguments, map, setup, refused change.
    WrongUse = 2,
    /// Line or controller.
    Line = 3,
    /// Files and disks.
    Files = 4,
}

/// Why a command stopped: what, where, what to do next.
#[derive(Debug)]
pub struct Stop {
    /// The exit code.
    pub exit: Exit,
    /// For standard error.
    pub text: String,
    /// The reader of standard output closed it, or its window: nothing to complain about.
    reader_gone: bool,
}

impl Stop {
    /// A stop with these words.
    pub fn new(exit: Exit, text: impl fmt::Display) -> Self {
        Self {
            exit,
            text: text.to_string(),
            reader_gone: false,
        }
    }
}

impl From<FileErrors> for Stop {
    fn from(errors: FileErrors) -> Self {
        Self::new(Exit::WrongUse, errors)
    }
}

impl From<PortError> for Stop {
    fn from(error: PortError) -> Self {
        Self::new(Exit::Line, error)
    }
}

impl From<RecordError> for Stop {
    fn from(error: RecordError) -> Self {
        Self::new(Exit::Files, error)
    }
}

impl From<ReadError> for Stop {
    fn from(error: ReadError) -> Self {
        Self::new(Exit::Files, error)
    }
}

/// Failures of standard output; `| head` closes it and has what it wanted.
impl From<io::Error> for Stop {
    fn from(error: io::Error) -> Self {
        let reader_gone =
            error.kind() == io::ErrorKind::BrokenPipe || is_of_closed_terminal(&error);
        Self {
            exit: Exit::Files,
            text: format!("standard output could not be written: {error}"),
            reader_gone,
        }
    }
}

/// Whether standard output is a terminal that is gone. What is left of it is no terminal any more, only
/// a device that gives input/output errors.
#[cfg(unix)]
fn is_of_closed_terminal(error: &io::Error) -> bool {
    use rustix::fs::FileType;
    let what = rustix::fs::fstat(io::stdout()).map(|it| FileType::from_raw_mode(it.st_mode));
    error.raw_os_error() == Some(rustix::io::Errno::IO.raw_os_error())
        && what == Ok(FileType::CharacterDevice)
}

/// A closed console ends its programs. A named pipe, which some shells use, says that it is not
/// connected (`ERROR_PIPE_NOT_CONNECTED`, 233, of Microsoft's "System Error Codes") once its reader has gone.
#[cfg(not(unix))]
fn is_of_closed_terminal(error: &io::Error) -> bool {
    cfg!(windows) && error.raw_os_error() == Some(233)
}

impl From<serde_json::Error> for Stop {
    fn from(error: serde_json::Error) -> Self {
        io::Error::from(error).into()
    }
}

/// The exit code of a finished command; prints why it stopped.
pub(super) fn code(done: Result<Exit, Stop>) -> ExitCode {
    let exit = match done {
        Ok(exit) => exit,
        Err(stop) if stop.reader_gone => Exit::Done,
        Err(stop) => {
            // With standard error gone too there is nobody left to tell.
            let _ = writeln!(io::stderr(), "error: {}", stop.text);
            stop.exit
        }
    };
    ExitCode::from(exit as u8)
}

/// Prints help, version or what is wrong with the arguments.
pub(super) fn of_usage(error: &clap::Error) -> ExitCode {
    // As above; clap chooses the stream.
    let _ = error.print();
    ExitCode::from(if error.use_stderr() {
        Exit::WrongUse as u8
    } else {
        Exit::Done as u8
    })
}
