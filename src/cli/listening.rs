//! Options of every command that opens a line: how it treats others who talk there.

use std::io::{self, Write as _};
use std::time::Duration;

use clap::Args;

use super::{Exit, Stop};
use crate::line::Manner;
use crate::setup::{LineSetup, Port};

/// A panel or a PLC asks more often (common practice, no source).
const USUAL: &str = "3s";

/// For commands that ask.
#[derive(Clone, Debug, Args)]
pub(super) struct ListenFirstArgs {
    /// How long to listen for another master before anything is asked; 0s asks at once.
    #[arg(long, value_name = "DURATION", default_value = USUAL, value_parser = humantime::parse_duration)]
    pub(super) listen_first: Duration,
}

/// For commands that can do without asking.
#[derive(Clone, Debug, Args)]
pub(super) struct ListenArgs {
    #[command(flatten)]
    first: ListenFirstArgs,
    /// Send nothing: take the values from what another master reads.
    #[arg(long, conflicts_with = "listen_first")]
    pub(super) listen_only: bool,
}

impl ListenFirstArgs {
    pub(super) fn manner(&self) -> Manner {
        Manner::ListenFirst(self.listen_first)
    }
}

impl ListenArgs {
    /// How these lines are to be treated.
    ///
    /// # Errors
    /// They are to be listened to, and one of them cannot be.
    pub(super) fn manner<'a>(
        &self,
        lines: impl IntoIterator<Item = &'a LineSetup>,
    ) -> Result<Manner, Stop> {
        if !self.listen_only {
            return Ok(self.first.manner());
        }
        for line in lines {
            if let Port::Tcp(address) = &line.port {
                let text = format!(
                    "line '{}' cannot be listened to: a Modbus TCP gateway ({address}) keeps what \
                     others ask to itself\nhelp: leave --listen-only out: a gateway serves several \
                     masters; or listen on the serial line behind it",
                    line.name
                );
                return Err(Stop::new(Exit::WrongUse, text));
            }
        }
        Ok(Manner::ListenOnly)
    }
}

/// Says what a line has to say while it is being opened.
pub(super) fn tell(remark: &str) {
    // A courtesy; a closed standard error stops nothing.
    let _ = writeln!(io::stderr(), "{remark}");
}
