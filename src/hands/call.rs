//! A hand asks an owner.

use std::fmt;
use std::io;
use std::time::Duration;

use futures_util::{SinkExt as _, StreamExt as _};
use interprocess::local_socket::tokio::Stream;
use interprocess::local_socket::traits::tokio::Stream as _;
use interprocess::local_socket::{ListenerOptions, Name as SocketName};
use tokio::time::timeout;
use tokio_util::codec::{Framed, LinesCodec};

use super::owner::{Key, Owner, announced};
use super::words::{Answered, Asked, LONGEST_ANSWER};
use crate::line::Came;
use crate::name::Name;
use crate::setup::UnitId;

/// An owner that listens does so at once.
const CONNECT_WITHIN: Duration = Duration::from_secs(5);
/// A unit that does not answer takes its time, and others may have asked before.
const ANSWER_WITHIN: Duration = Duration::from_mins(1);

/// An owner that listens.
#[derive(Debug)]
pub struct Reached {
    /// Who it is.
    pub owner: Owner,
    lines: Framed<Stream, LinesCodec>,
}

/// Why an owner did not do what it was asked for.
#[derive(Clone, Debug, PartialEq, Eq)]
pub enum CallError {
    /// It says why.
    Refused(String),
    /// It has gone, or does not answer; in words.
    Lost(String),
}

impl fmt::Display for CallError {
    fn fmt(&self, f: &mut fmt::Formatter<'_>) -> fmt::Result {
        match self {
            Self::Refused(text) | Self::Lost(text) => f.write_str(text),
        }
    }
}

/// The owner of this port or recording, if there is one that listens.
pub async fn reach(key: &Key) -> Option<Reached> {
    for owner in announced(key) {
        let Some(socket) = &owner.socket else {
            continue;
        };
        // Of one that was killed the word is still there, and nobody listens.
        if let Ok(Ok(stream)) = timeout(CONNECT_WITHIN, connect(socket)).await {
            let lines = Framed::new(stream, LinesCodec::new_with_max_length(LONGEST_ANSWER));
            return Some(Reached { owner, lines });
        }
    }
    None
}

async fn connect(socket: &str) -> io::Result<Stream> {
    Stream::connect(name(socket)?).await
}

#[cfg(unix)]
fn name(socket: &str) -> io::Result<SocketName<'_>> {
    use interprocess::local_socket::{GenericFilePath, ToFsName as _};
    socket.to_fs_name::<GenericFilePath>()
}

#[cfg(not(unix))]
fn name(socket: &str) -> io::Result<SocketName<'_>> {
    use interprocess::local_socket::{GenericNamespaced, ToNsName as _};
    socket.to_ns_name::<GenericNamespaced>()
}

/// What a listener at this socket is made of.
pub(super) fn options(socket: &str) -> io::Result<ListenerOptions<'_>> {
    Ok(ListenerOptions::new().name(name(socket)?))
}

impl Reached {
    /// Puts a mark on the recording's time axis, now: at one loop, or at all. Gives its time, RFC 3339.
    ///
    /// # Errors
    /// The owner does not do it, or has gone.
    pub async fn mark(&mut self, of: Option<&Name>, text: &str) -> Result<String, CallError> {
        let (text, of) = (text.to_owned(), of.cloned());
        match self.ask(&Asked::Mark { text, of }).await? {
            Answered::Marked(time) => Ok(time),
            other => Err(unexpected(other)),
        }
    }

    /// Reads every point of a unit once, now.
    ///
    /// # Errors
    /// The owner does not do it, or has gone.
    pub async fn read(&mut self, port: &Key, unit: UnitId) -> Result<Came, CallError> {
        let port = port.0.clone();
        match self.ask(&Asked::Read { port, unit }).await? {
            Answered::Came(came) => Ok(*came),
            other => Err(unexpected(other)),
        }
    }

    async fn ask(&mut self, asked: &Asked) -> Result<Answered, CallError> {
        let lost = |why: &dyn fmt::Display| CallError::Lost(format!("it gave no answer: {why}"));
        let question = serde_json::to_string(asked).map_err(|error| lost(&error))?;
        self.lines.send(question).await.map_err(|it| lost(&it))?;
        match timeout(ANSWER_WITHIN, self.lines.next()).await {
            Ok(Some(Ok(line))) => serde_json::from_str(&line).map_err(|error| lost(&error)),
            Ok(Some(Err(error))) => Err(lost(&error)),
            Ok(None) => Err(lost(&"it has ended")),
            Err(_) => Err(lost(&format!(
                "nothing within {} s",
                ANSWER_WITHIN.as_secs()
            ))),
        }
    }
}

fn unexpected(answer: Answered) -> CallError {
    match answer {
        Answered::Refused(text) => CallError::Refused(text),
        Answered::Marked(_) | Answered::Came(_) => {
            CallError::Lost("it answered something else: is it another version?".to_owned())
        }
    }
}
