//! A whole session on paused time, as its listeners see it. Device, line and recorder share the
//! runtime this runs in.

use std::path::Path;
use std::time::Duration;

use emberline::clock::Clock;
use emberline::line::{Manner, Opened, Opener, Pace, PortError, Start};
use emberline::record::Recorder;
use emberline::sample::Entry;
use emberline::session::{Opening, Session};
use emberline::setup::{LineSetup, Setup};
use futures_util::FutureExt as _;
use tokio::io::DuplexStream;
use tokio::runtime::{Builder, Runtime};
use tokio::sync::broadcast::{self, error::RecvError};
use tokio::task::JoinHandle;
use tokio_util::sync::CancellationToken;

/// Such a session.
pub(super) struct Played {
    /// Its clock; polling began at its beginning.
    pub(super) clock: Clock,
    entries: broadcast::Receiver<Entry>,
    writing: Option<JoinHandle<()>>,
}

impl Played {
    /// Polls the loops of `setup` for so long, and records into `into` if there is one.
    pub(super) async fn begin(
        setup: &Setup,
        opener: &mut dyn FnMut(&LineSetup) -> Opener,
        length: Duration,
        into: Option<&Path>,
    ) -> Self {
        Self::begin_as(Manner::Ask, setup, opener, length, into).await
    }

    /// The same in this manner.
    pub(super) async fn begin_as(
        manner: Manner,
        setup: &Setup,
        opener: &mut dyn FnMut(&LineSetup) -> Opener,
        length: Duration,
        into: Option<&Path>,
    ) -> Self {
        let mut opening = Opening::new(setup, manner, opener, &CancellationToken::new());
        for line in std::mem::take(&mut opening.lines) {
            tokio::spawn(line);
        }
        opening.wait(|_| {}).await.unwrap();
        let clock = Clock::starting_at(chrono::DateTime::UNIX_EPOCH);
        let recorder = into.map(|into| Recorder::create(into, "played", setup, &clock).unwrap());
        let start = Start {
            end: Some(length),
            ..Start::of(clock.clone())
        };
        let session: Session = opening.begin(setup, start, recorder);
        let entries = session.live.subscribe();
        tokio::spawn(session.hub);
        let writing = session
            .recorder
            .map(|recorder| tokio::spawn(async move { drop(recorder.await.unwrap()) }));
        Self {
            clock,
            entries,
            writing,
        }
    }

    /// The next entry, at the time it comes; `None` when the session has ended and all is written.
    pub(super) async fn next(&mut self) -> Option<Entry> {
        match self.entries.recv().await {
            Ok(entry) => Some(entry),
            Err(RecvError::Lagged(missed)) => unreachable!("{missed} entries were missed"),
            Err(RecvError::Closed) => {
                if let Some(writing) = self.writing.take() {
                    writing.await.unwrap();
                }
                None
            }
        }
    }
}

/// A runtime in which nobody waits for time to pass.
pub(super) fn paused() -> Runtime {
    let mut builder = Builder::new_current_thread();
    builder.enable_time().start_paused(true).build().unwrap()
}

/// Opens what `open` gives; `None` is an adapter that is pulled out.
pub(super) fn opener(
    pace: Pace,
    mut open: impl FnMut() -> Option<DuplexStream> + Send + 'static,
) -> Opener {
    Box::new(move || {
        let wire = open().map(|wire| Opened {
            wire: Box::new(wire),
            pace,
        });
        let opened = wire.ok_or_else(|| PortError {
            what: "the adapter is out".to_owned(),
            help: "plug it in".to_owned(),
        });
        async move { opened }.boxed()
    })
}
