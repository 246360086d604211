//! Ties lines, notice, recorder and listeners together.
//!
//! Everything is a future; whoever starts a session decides which runtime runs it. A real serial line
//! gets a thread of its own, because its port blocks; a simulation runs all of it in one
//! current-thread runtime on paused time. First the ports are opened, all at once, and listened to;
//! then recording and polling begin with one clock: a recording is made only when there is something
//! to record.

use std::collections::BTreeMap;
use std::path::PathBuf;

use futures_util::future::BoxFuture;
use tokio::sync::{broadcast, mpsc, oneshot};
use tokio_util::sync::CancellationToken;

use crate::clock::{Clock, Stamp};
use crate::line::{Ask, Line, Manner, Opener, PortError, Start, Ties};
use crate::name::Name;
use crate::notice::{self, Listeners, Notice};
use crate::record::{RecordError, Recorder};
use crate::sample::{Entry, Event, Happening};
use crate::setup::{LineSetup, Setup};

/// Entries on their way to the recorder; a minute of a busy line.
const QUEUE: usize = 4096;
/// Entries a slow screen may be behind before it loses some (and is told).
const LIVE: usize = 16_384;
/// Asks on their way to a line.
const ASKS: usize = 16;

/// A session whose ports are being opened.
pub struct Opening {
    /// One future for each line, to be started before [`Opening::wait`].
    pub lines: Vec<BoxFuture<'static, ()>>,
    opened: Vec<oneshot::Receiver<Result<(), PortError>>>,
    starts: Vec<oneshot::Sender<Start>>,
    asks: BTreeMap<Name, mpsc::Sender<Ask>>,
    entries: mpsc::Sender<Entry>,
    received: mpsc::Receiver<Entry>,
    remark: mpsc::UnboundedSender<String>,
    remarks: mpsc::UnboundedReceiver<String>,
    stop: CancellationToken,
}

/// A session that polls.
pub struct Session {
    /// Passes entries on; ends when every line has ended.
    pub hub: BoxFuture<'static, ()>,
    /// Writes the recording; ends after the hub. Gives the recording's folder.
    pub recorder: Option<BoxFuture<'static, Result<PathBuf, RecordError>>>,
    /// Everything as it happens.
    pub live: broadcast::Sender<Entry>,
    /// For marks.
    pub hand: Hand,
    /// The line of each loop, to be asked.
    pub asks: BTreeMap<Name, mpsc::Sender<Ask>>,
}

/// What a person writes into a session. Whoever holds it does not keep the session going.
#[derive(Clone, Debug)]
pub struct Hand {
    entries: mpsc::WeakSender<Entry>,
    clock: Clock,
}

impl Hand {
    pub(crate) fn new(entries: &mpsc::Sender<Entry>, clock: Clock) -> Self {
        Self {
            entries: entries.downgrade(),
            clock,
        }
    }

    /// Puts an event on the time axis now: of one loop, or of all. Gives its time; `None` when the
    /// session takes nothing more because it ends.
    pub async fn note(&self, of: Option<Name>, what: Happening, text: String) -> Option<Stamp> {
        let stamp = self.clock.now();
        let event = Event {
            of,
            stamp,
            what,
            text,
        };
        let entries = self.entries.upgrade()?;
        let taken = entries.send(Entry::Event(event)).await;
        taken.ok().map(|()| stamp)
    }
}

impl Opening {
    /// The lines of `setup` that a loop hangs on, each with the opener `opener` gives it. `manner` says
    /// how they treat others who talk there.
    pub fn new(
        setup: &Setup,
        manner: Manner,
        opener: &mut dyn FnMut(&LineSetup) -> Opener,
        stop: &CancellationToken,
    ) -> Self {
        let (entries, received) = mpsc::channel(QUEUE);
        let (remark, remarks) = mpsc::unbounded_channel();
        let mut opening = Self {
            lines: Vec::new(),
            opened: Vec::new(),
            starts: Vec::new(),
            asks: BTreeMap::new(),
            entries,
            received,
            remark,
            remarks,
            stop: stop.clone(),
        };
        for line in setup.used_lines() {
            opening.add(Line::new(line, &setup.loops, manner, opener(line)));
        }
        opening
    }

    fn add(&mut self, line: Line) {
        let (ask, asks) = mpsc::channel(ASKS);
        let (opened, is_open) = oneshot::channel();
        let (give_start, start) = oneshot::channel();
        self.asks
            .extend(line.loop_names().map(|name| (name.clone(), ask.clone())));
        self.opened.push(is_open);
        self.starts.push(give_start);
        let ties = Ties {
            out: self.entries.clone(),
            asks,
            remarks: self.remark.clone(),
            opened,
            start,
            stop: self.stop.clone(),
        };
        self.lines.push(Box::pin(line.run(ties)));
    }

    /// Waits until every port is open; `tell` is given what the lines say meanwhile.
    ///
    /// # Errors
    /// The first port that could not be opened, or where another master talks.
    pub async fn wait(&mut self, mut tell: impl FnMut(&str)) -> Result<(), PortError> {
        let Self {
            opened, remarks, ..
        } = self;
        let all = async {
            for opened in opened.drain(..) {
                // A line that went away without a word was stopped.
                opened.await.unwrap_or(Ok(()))?;
            }
            Ok(())
        };
        tokio::pin!(all);
        loop {
            tokio::select! {
                biased;
                // This side is held here too: it never ends.
                Some(remark) = remarks.recv() => tell(&remark),
                all = &mut all => return all,
            }
        }
    }

    /// Lets recording and polling begin.
    pub fn begin(self, setup: &Setup, start: Start, recorder: Option<Recorder>) -> Session {
        for give_start in self.starts {
            // A line that does not wait any more was stopped.
            let _ = give_start.send(start.clone());
        }
        let Start { clock, end, .. } = start;
        let (live, _) = broadcast::channel(LIVE);
        let told = |it: Recorder| it.telling(live.downgrade()).ending_at(end);
        let (to_recorder, recorder) = recorder.map(told).map(started).unzip();
        let listeners = Listeners {
            recorder: to_recorder,
            live: live.clone(),
        };
        let hand = Hand::new(&self.entries, clock.clone());
        let hub = Box::pin(notice::run(
            Notice::new(setup),
            self.received,
            clock.changes(),
            self.asks.clone(),
            listeners,
        ));
        Session {
            hub,
            recorder,
            live,
            hand,
            asks: self.asks,
        }
    }
}

type Writing = BoxFuture<'static, Result<PathBuf, RecordError>>;

fn started(recorder: Recorder) -> (mpsc::Sender<Entry>, Writing) {
    let (sender, receiver) = mpsc::channel(QUEUE);
    (sender, Box::pin(recorder.run(receiver)))
}
