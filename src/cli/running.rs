//! Runs a session on this machine's clock: a thread for each line, one for the recorder.

use std::io;
use std::path::{Path, PathBuf};
use std::sync::Arc;
use std::thread::{self, JoinHandle};
use std::time::Duration;

use futures_util::future::{BoxFuture, OptionFuture};
use tokio::runtime::{Builder, Runtime};
use tokio::sync::{broadcast, watch};
use tokio_util::sync::CancellationToken;

use super::allowance::ask_for_many_files;
use super::listening::tell;
use super::on::{LEFT_AFTER, Runner};
use super::owning::Owning;
use super::{Exit, Stop};
use crate::clock::{Clock, Machine as _, ThisMachine};
use crate::line::{self, Manner, PortError, Start};
use crate::record::{Progress, RecordError, Recorder, Unfinished};
use crate::sample::Entry;
use crate::session::{Hand, Opening, Session};
use crate::setup::{LineSetup, Setup};
use crate::signals::{asked_to_end, asked_to_end_by_somebody};

/// A program that was asked to end, and has written everything, ends before this by itself, also where
/// it waits for commands that run on events.
const ENDS_WITHIN: Duration = LEFT_AFTER.saturating_add(Duration::from_secs(2));

/// A gap that is longer is not filled with rows: more likely a clock is wrong, or the job another.
/// Common practice, no source.
const GOES_ON_WITHIN: Duration = Duration::from_hours(31 * 24);

/// The folder of a recording that was closed.
type Written = Result<PathBuf, RecordError>;

/// A session that polls, on threads of its own.
pub(super) struct Running {
    /// Everything as it happens.
    live: broadcast::Sender<Entry>,
    /// Everything from the beginning on, for whoever listens first.
    heard: broadcast::Receiver<Entry>,
    /// For marks.
    pub(super) hand: Hand,
    /// Its clock.
    pub(super) clock: Clock,
    /// The recording's folder, if there is one.
    pub(super) folder: Option<PathBuf>,
    /// How far its recorder has come.
    pub(super) progress: Option<watch::Receiver<Progress>>,
    stop: CancellationToken,
    lines: Vec<JoinHandle<()>>,
    writing: JoinHandle<Option<Written>>,
    /// The same for commands that run on events.
    for_commands: Option<broadcast::Receiver<Entry>>,
    on: Option<JoinHandle<()>>,
    /// Given up when all has ended.
    _owning: Owning,
}

/// A runtime for one thread.
pub(super) fn runtime() -> Result<Runtime, Stop> {
    Builder::new_current_thread()
        .enable_all()
        .build()
        .map_err(|error| {
            Stop::new(
                Exit::Files,
                format!("the system gives no event queue: {error}"),
            )
        })
}

/// Where a session is recorded, and how.
pub(super) struct Recording<'a> {
    /// The folder that gets the recording's folder.
    pub(super) into: &'a Path,
    /// The recording's name.
    pub(super) name: &'a str,
    /// The longest time between two syncs to the medium.
    pub(super) sync_every: Duration,
    /// Whether it goes on when the terminal is closed.
    pub(super) outlives_terminal: bool,
}

impl Recording<'_> {
    /// The recording to go on with: one that was not closed, and is not too old; says so if it is.
    fn unfinished(&self, setup: &Setup) -> Result<Option<Unfinished>, RecordError> {
        let found = Unfinished::find(self.into, self.name, setup)?;
        let is_old = |it: &&Unfinished| it.ended_before(ThisMachine.wall()) > GOES_ON_WITHIN;
        let old = found.as_ref().filter(is_old);
        if let Some(old) = old {
            tell(&format!(
                "{} was not closed, but its last row is more than {} old: a new recording begins",
                old.folder().display(),
                humantime::format_duration(GOES_ON_WITHIN)
            ));
            return Ok(None);
        }
        Ok(found)
    }

    /// The recorder and its clock: of a recording that was not closed, else of a new one.
    fn begin(
        &self,
        unfinished: Option<Unfinished>,
        setup: &Setup,
        manner: Manner,
    ) -> Result<(Recorder, Clock), RecordError> {
        let (recorder, clock) = if let Some(unfinished) = unfinished {
            let clock = unfinished.clock(Arc::new(ThisMachine));
            (Recorder::resume(unfinished, setup, &clock)?, clock)
        } else {
            let clock = Clock::of_this_machine();
            let recorder = Recorder::create(self.into, self.name, setup, &clock)?;
            (recorder, clock)
        };
        let mut recorder = recorder.syncing_every(self.sync_every);
        if manner == Manner::ListenOnly {
            recorder.note_that_it_listens()?;
        }
        Ok((recorder, clock))
    }
}

/// Opens the ports of `setup` in this manner, makes the recorder, and lets it all begin.
///
/// Polling ends by itself `end` after the beginning; `stop` ends it in order, and is set when the
/// recorder cannot go on. A recording that was not closed is continued, whether or not the ports can
/// be opened now.
pub(super) fn start(
    setup: &Setup,
    manner: Manner,
    end: Option<Duration>,
    stop: &CancellationToken,
    recording: Option<&Recording<'_>>,
) -> Result<Running, Stop> {
    ask_for_many_files();
    let find = |it: &Recording<'_>| it.unfinished(setup);
    let unfinished = recording.map(find).transpose()?.flatten();
    let mut owning = Owning::take(setup)?;
    let manner = match manner {
        // Nothing holds up a recording that goes on.
        Manner::ListenFirst(_) if unfinished.is_some() => Manner::Ask,
        manner => manner,
    };
    let mut opener = |line: &LineSetup| line::opener(line.port.clone());
    let mut opening = Opening::new(setup, manner, &mut opener, stop);
    let lines = start_lines(&mut opening, stop)?;
    let opened: Result<(), PortError> = runtime()?.block_on(opening.wait(tell));
    if unfinished.is_none() {
        opened?;
    }
    let (recorder, clock) = match recording {
        Some(recording) => {
            let (recorder, clock) = recording.begin(unfinished, setup, manner)?;
            (Some(recorder), clock)
        }
        None => (None, Clock::of_this_machine()),
    };
    let from = recorder
        .as_ref()
        .map_or(Duration::ZERO, Recorder::writes_from);
    let folder = recorder
        .as_ref()
        .map(|recorder| recorder.folder().to_owned());
    let progress = recorder.as_ref().map(Recorder::progress);
    let start = Start {
        clock: clock.clone(),
        from,
        end,
    };
    let Session {
        hub,
        recorder,
        live,
        hand,
        asks,
    } = opening.begin(setup, start, recorder);
    owning.serve(setup, folder.as_deref(), &hand, &asks, stop);
    let heard = live.subscribe();
    let for_commands = live.subscribe();
    let outlives_terminal = recording.is_some_and(|it| it.outlives_terminal);
    let writing = start_writing(hub, recorder, outlives_terminal, stop)?;
    Ok(Running {
        live,
        heard,
        hand,
        clock,
        folder,
        progress,
        stop: stop.clone(),
        lines,
        writing,
        for_commands: Some(for_commands),
        on: None,
        _owning: owning,
    })
}

/// What comes to the session and goes into the recording, on a thread of its own.
fn start_writing(
    hub: BoxFuture<'static, ()>,
    recorder: Option<BoxFuture<'static, Written>>,
    outlives_terminal: bool,
    stop: &CancellationToken,
) -> Result<JoinHandle<Option<Written>>, Stop> {
    let stop = stop.clone();
    on_its_own_thread("recorder", async move {
        let asked = async {
            if outlives_terminal {
                asked_to_end_by_somebody().await
            } else {
                asked_to_end().await
            }
        };
        let all = async { tokio::join!(hub, OptionFuture::from(recorder)).1 };
        tokio::pin!(all);
        let (written, is_asked) = tokio::select! {
            written = &mut all => (written, false),
            Ok(_) = asked => {
                stop.cancel();
                (all.await, true)
            }
        };
        // Also after an error that no waiting heals: nobody should go on polling for nothing.
        stop.cancel();
        if is_asked {
            end_before_long(matches!(written, Some(Err(_))));
        }
        written
    })
}

/// Each line on a thread of its own.
fn start_lines(
    opening: &mut Opening,
    stop: &CancellationToken,
) -> Result<Vec<JoinHandle<()>>, Stop> {
    let lines = std::mem::take(&mut opening.lines).into_iter();
    lines
        .map(|line| {
            // However a line ends, by order or by a panic, the rest must not go on without it.
            let guard = stop.clone().drop_guard();
            on_its_own_thread("line", async move {
                line.await;
                drop(guard);
            })
        })
        .collect()
}

impl Running {
    /// Everything as it happens; the first time from the beginning on.
    pub(super) fn listen(&mut self) -> broadcast::Receiver<Entry> {
        let later = self.live.subscribe();
        std::mem::replace(&mut self.heard, later)
    }

    /// Runs commands on what happens, from the beginning on.
    pub(super) fn run_on(&mut self, runner: Option<Runner>) -> Result<(), Stop> {
        if let Some((mut runner, live)) = runner.zip(self.for_commands.take()) {
            runner.recording(self.folder.as_deref());
            let run = runner.run(live, self.hand.clone());
            self.on = Some(on_its_own_thread("on", run)?);
        }
        Ok(())
    }

    /// Stops the session and waits until everything is written, and what runs on events is done.
    pub(super) fn finish(self) -> Result<Option<PathBuf>, Stop> {
        self.stop.cancel();
        for line in self.lines {
            line.join().map_err(|_| crashed("a line"))?;
        }
        let written = self.writing.join().map_err(|_| crashed("the recorder"))?;
        drop(self.live);
        if let Some(on) = self.on {
            on.join().map_err(|_| crashed("what runs commands"))?;
        }
        Ok(written.transpose()?)
    }
}

/// Ends the program, should it not end by itself although all is written: a terminal that takes nothing,
/// at the far end of a link that hangs, may hold the thread that shows things for ever.
fn end_before_long(has_failed: bool) {
    let exit = if has_failed { Exit::Files } else { Exit::Done };
    // Without a thread to spare it goes as well, as long as the terminal takes what is shown.
    let _ = thread::Builder::new().spawn(move || {
        thread::sleep(ENDS_WITHIN);
        #[expect(clippy::exit, reason = "everything is written, and nobody can be told")]
        std::process::exit(exit as i32)
    });
}

fn crashed(what: &str) -> Stop {
    Stop::new(
        Exit::Line,
        format!(
            "{what} stopped on an error of the program itself\nhelp: please report the lines above"
        ),
    )
}

fn on_its_own_thread<T: Send + 'static>(
    name: &str,
    future: impl Future<Output = T> + Send + 'static,
) -> Result<JoinHandle<T>, Stop> {
    let runtime = runtime()?;
    let spawn =
        |error: io::Error| Stop::new(Exit::Files, format!("the system gives no thread: {error}"));
    thread::Builder::new()
        .name(name.to_owned())
        .spawn(move || runtime.block_on(future))
        .map_err(spawn)
}
