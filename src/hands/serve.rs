//! An owner listens to others.

use std::io;
use std::time::Duration;

use chrono::SecondsFormat;
use futures_util::{SinkExt as _, StreamExt as _};
use interprocess::local_socket::tokio::{Listener, Stream};
use interprocess::local_socket::traits::tokio::Listener as _;
use tokio::sync::{mpsc, oneshot};
use tokio::task::JoinSet;
use tokio_util::codec::{Framed, LinesCodec};
use tokio_util::sync::CancellationToken;

use super::call::options;
use super::owner::Key;
use super::words::{Answered, Asked, LONGEST_QUESTION};
use crate::line::Ask;
use crate::name::Name;
use crate::sample::Happening;
use crate::session::Hand;
use crate::setup::UnitId;

/// So many others are listened to at once; more have to wait.
const AT_ONCE: usize = 16;
/// Whoever says nothing for so long is not listened to any more.
const PATIENCE: Duration = Duration::from_mins(1);

/// What an owner does for others.
#[derive(Clone, Debug)]
pub struct Served {
    /// Where marks go.
    pub hand: Hand,
    /// The loops it has.
    pub loops: Vec<Name>,
    /// The lines it polls.
    pub lines: Vec<ServedLine>,
}

/// A line that others may ask to be read.
#[derive(Clone, Debug)]
pub struct ServedLine {
    /// Its port.
    pub port: Key,
    /// Where asks go.
    pub asks: mpsc::Sender<Ask>,
}

/// A socket that others of the same user can open.
#[derive(Debug)]
pub struct Server {
    listener: Listener,
    address: String,
}

impl Server {
    /// Opens one. Must be called on a runtime.
    ///
    /// # Errors
    /// The system does not give one.
    pub fn open() -> io::Result<Self> {
        let address = new_address()?;
        let listener = options(&address)?.create_tokio()?;
        keep_to_its_user(&address)?;
        Ok(Self { listener, address })
    }

    /// Where others find it.
    pub fn socket(&self) -> &str {
        &self.address
    }

    /// Does what others ask until `stop`.
    pub async fn run(self, served: Served, stop: CancellationToken) {
        let mut talks = JoinSet::new();
        loop {
            tokio::select! {
                biased;
                () = stop.cancelled() => return,
                Some(_) = talks.join_next() => {}
                stream = self.listener.accept(), if talks.len() < AT_ONCE => match stream {
                    Ok(stream) => drop(talks.spawn(talk(stream, served.clone()))),
                    // Out of handles, say: others may be done soon.
                    Err(_) => tokio::time::sleep(Duration::from_secs(1)).await,
                },
            }
        }
    }
}

/// Answers one other, question by question; ends when it goes or says nothing.
async fn talk(stream: Stream, served: Served) {
    let mut lines = Framed::new(stream, LinesCodec::new_with_max_length(LONGEST_QUESTION));
    while let Ok(Some(Ok(line))) = tokio::time::timeout(PATIENCE, lines.next()).await {
        let answer = match serde_json::from_str(&line) {
            Ok(asked) => served.answer(asked).await,
            Err(error) => Answered::Refused(format!("not understood: {error}")),
        };
        let Ok(text) = serde_json::to_string(&answer) else {
            return;
        };
        if lines.send(text).await.is_err() {
            return;
        }
    }
}

impl Served {
    async fn answer(&self, asked: Asked) -> Answered {
        let answer = match asked {
            Asked::Mark { text, of } => self.mark(of, text).await,
            Asked::Read { port, unit } => self.read(&port, unit).await,
        };
        answer.unwrap_or_else(Answered::Refused)
    }

    async fn mark(&self, of: Option<Name>, text: String) -> Result<Answered, String> {
        if let Some(name) = of.as_ref().filter(|name| !self.loops.contains(name)) {
            return Err(format!("there is no loop '{name}' here"));
        }
        let marked = self.hand.note(of, Happening::Mark, text).await;
        let stamp = marked.ok_or("the recording is ending")?;
        let time = stamp.time.to_rfc3339_opts(SecondsFormat::Millis, true);
        Ok(Answered::Marked(time))
    }

    async fn read(&self, port: &str, unit: UnitId) -> Result<Answered, String> {
        let line = self.lines.iter().find(|line| line.port.0 == port);
        let line = line.ok_or_else(|| format!("{port} is not polled here"))?;
        let (reply, answer) = oneshot::channel();
        let ending = |_| "the line is ending".to_owned();
        line.asks
            .send(Ask::Read(unit, reply))
            .await
            .map_err(|_| "the line is ending")?;
        let came = answer.await.map_err(ending)??;
        Ok(Answered::Came(Box::new(came)))
    }
}

/// An address that nobody else has; on unix a file, which goes with its listener.
#[cfg(unix)]
fn new_address() -> io::Result<String> {
    use std::sync::atomic::{AtomicU32, Ordering};
    static COUNT: AtomicU32 = AtomicU32::new(0);
    let places = super::place::places()?;
    let place = places.first().ok_or(io::ErrorKind::NotFound)?;
    let count = COUNT.fetch_add(1, Ordering::Relaxed);
    let path = place.join(format!("{}-{count}.socket", std::process::id()));
    // Of a process that had this number before and was killed.
    let _ = std::fs::remove_file(&path);
    let text = path.to_str().ok_or(io::ErrorKind::InvalidFilename)?;
    Ok(text.to_owned())
}

#[cfg(not(unix))]
fn new_address() -> io::Result<String> {
    Ok(format!("emberline-{}", std::process::id()))
}

/// In a folder that nobody else may enter.
#[cfg(unix)]
fn keep_to_its_user(address: &str) -> io::Result<()> {
    use std::os::unix::fs::PermissionsExt as _;
    std::fs::set_permissions(address, std::fs::Permissions::from_mode(0o600))
}

/// The system's own rule: nobody else may write to a pipe.
#[cfg(not(unix))]
fn keep_to_its_user(_address: &str) -> io::Result<()> {
    Ok(())
}
