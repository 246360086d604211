//! `emberline watch`: the live screen, on a line or on a recording that another process writes.

use std::io::{self, Write as _};
use std::path::{Path, PathBuf};
use std::sync::Arc;
use std::time::Duration;

use clap::Args;
use tokio::sync::{broadcast, mpsc, watch};
use tokio_util::sync::CancellationToken;

use super::awake::SleepArgs;
use super::degrees::degrees;
use super::follow::{Heard, News};
use super::listening::ListenArgs;
use super::on::OnArgs;
use super::record::recording_name;
use super::running::{self, runtime};
use super::{Exit, Stop, screen_place, target};
use crate::clock::{Clock, Stamp, ThisMachine};
use crate::console::{
    self, Ask, Background, Ending, Look, LoopFacts, Recording, ScreenFacts, Written,
};
use crate::name::Name;
use crate::process;
use crate::record::SYNC_EVERY;
use crate::sample::{Entry, Happening};
use crate::session::Hand;
use crate::setup::{LoopSetup, Setup};
use crate::signals::Signal;
use crate::unit::Degrees;

/// Show loops live in the terminal
///
/// Only looks: it changes nothing at the controller. Keep an independent over-temperature cut-out.
///
/// Examples:
///   emberline watch oven.toml --into recordings
///   emberline watch oven.toml --into recordings --keep-recording
///   emberline watch oven.toml --listen-only
///   emberline watch --follow recordings/2027-03-04T06-00-00Z_oven
#[derive(Debug, Args)]
#[command(verbatim_doc_comment)]
pub(super) struct WatchArgs {
    /// The setup file.
    #[arg(required_unless_present = "follow", conflicts_with = "follow")]
    setup: Option<PathBuf>,
    /// Record as well, into this folder.
    #[arg(long, value_name = "DIR", conflicts_with = "follow")]
    into: Option<PathBuf>,
    /// The recording's name; the setup file's without it.
    #[arg(long, requires = "into")]
    name: Option<Name>,
    /// Go on recording when the terminal is closed; 'kill -TERM PROCESS' then ends it in order. Which
    /// process it is the screen's help says ('?'), and a second 'record' or 'watch'.
    #[arg(long, requires = "into")]
    keep_recording: bool,
    /// Show a recording that another process is writing.
    #[arg(long, value_name = "RECORDING", conflicts_with_all = ["listen_first", "listen_only", "on"])]
    follow: Option<PathBuf>,
    /// Show temperatures in degC, degF or K.
    #[arg(long = "in", value_name = "UNIT", value_parser = degrees)]
    shown_in: Option<Degrees>,
    #[command(flatten)]
    listen: ListenArgs,
    #[command(flatten)]
    on: OnArgs,
    #[command(flatten)]
    sleep: SleepArgs,
}

/// Marks on their way from the screen.
const ASKS: usize = 16;
/// Entries a screen may be behind a followed recording.
const FOLLOWED: usize = 16_384;
/// A last row that is so old says that nobody is writing.
const LONG_AGO: Duration = Duration::from_mins(1);

pub(super) fn run(args: &WatchArgs) -> Result<Exit, Stop> {
    match (&args.setup, &args.follow) {
        (_, Some(recording)) => follow(recording, args.shown_in),
        (Some(setup), None) => watch(args, &Setup::load(setup)?),
        (None, None) => Err(Stop::new(
            Exit::WrongUse,
            "name a setup file, or a recording with --follow",
        )),
    }
}

fn watch(args: &WatchArgs, setup: &Setup) -> Result<Exit, Stop> {
    let stop = CancellationToken::new();
    let name = recording_name(args.name.as_ref(), setup);
    let recording = args.into.as_deref().map(|into| running::Recording {
        into,
        name: &name,
        sync_every: SYNC_EVERY,
        outlives_terminal: args.keep_recording,
    });
    let manner = args.listen.manner(setup.used_lines())?;
    let on = args.on.runner(setup, true)?;
    screen_place::check()?;
    let mut running = running::start(setup, manner, None, &stop, recording.as_ref())?;
    running.run_on(on)?;
    let clock = running.clock.clone();
    let began = Stamp {
        elapsed: std::time::Duration::ZERO,
        time: clock.began(),
    };
    let recording = if args.into.is_some() {
        Recording::Here(began)
    } else {
        Recording::No
    };
    let (asks, asked) = mpsc::channel(ASKS);
    let session = console::Session {
        screen: ScreenFacts {
            listens: args.listen.listen_only,
            goes_on: args.keep_recording.then(goes_on).unwrap_or_default(),
            ..screen_facts(setup, recording).shown_in(args.shown_in)
        },
        entries: running.listen(),
        asks,
        clock: clock.clone(),
        story: None,
        written: None,
    };
    let recorded = args.into.as_ref();
    let _awake = recorded.and_then(|_| args.sleep.keep_awake_silently());
    let hand = running.hand.clone();
    let ending = runtime()?.block_on(async {
        tokio::select! {
            ending = console::run(session) => ending.map_err(|error| screen_failed(&error)),
            never = pass_on(asked, &hand) => never,
            () = stop.cancelled() => Ok(Ending::Quit),
        }
    });
    if let (true, Ok(ending)) = (args.keep_recording && is_terminal_gone(&ending), &ending) {
        runtime()?.block_on(stop.cancelled());
        running.finish()?;
        // Nobody is there to read where it is.
        return leave(*ending, None);
    }
    let folder = running.finish()?;
    leave(ending?, folder.as_deref())
}

fn is_terminal_gone(ending: &Result<Ending, Stop>) -> bool {
    matches!(
        ending,
        Ok(Ending::TerminalGone | Ending::Signal(Signal::Hangup))
    )
}

/// What every screen shows of a setup.
pub(super) fn screen_facts(setup: &Setup, recording: Recording) -> ScreenFacts {
    let facts = |the_loop: &LoopSetup| {
        let line = setup.lines.iter().find(|line| line.name == the_loop.line)?;
        Some(LoopFacts::of(the_loop, line))
    };
    let title = if setup.job.equipment.is_empty() {
        &setup.name
    } else {
        &setup.job.equipment
    };
    ScreenFacts {
        title: title.clone(),
        loops: setup.loops.iter().filter_map(facts).collect(),
        recording,
        listens: false,
        goes_on: String::new(),
        look: look(),
        zone: console::local_offset,
    }
}

fn goes_on() -> String {
    let process = std::process::id();
    let how = process::how_to_end(process);
    format!("Process {process} goes on recording when this terminal is closed; {how}.")
}

/// The look that suits this terminal.
fn look() -> Look {
    let variable = |name: &str| std::env::var(name).ok();
    Look::detect(variable).on(Background::detect(variable))
}

/// Turns what is asked at the screen into marks; never returns while the screen is there.
pub(super) async fn pass_on(mut asked: mpsc::Receiver<Ask>, hand: &Hand) -> ! {
    while let Some(ask) = asked.recv().await {
        if let Ask::Mark(text) = ask {
            // A session that ends takes no more marks.
            let _ = hand.note(None, Happening::Mark, text).await;
        }
    }
    std::future::pending().await
}

/// What to say and return after the screen.
fn leave(ending: Ending, folder: Option<&Path>) -> Result<Exit, Stop> {
    if let Some(folder) = folder {
        writeln!(io::stdout().lock(), "{}", folder.display())?;
    }
    match ending {
        Ending::Quit | Ending::Signal(_) | Ending::TerminalGone => Ok(Exit::Done),
        Ending::Panicked => Err(Stop::new(
            Exit::Line,
            "the program met an error of its own; please report the lines above",
        )),
    }
}

fn follow(recording: &Path, shown_in: Option<Degrees>) -> Result<Exit, Stop> {
    let opened = target::recording(recording)?;
    screen_place::check()?;
    let mut news = News::open(recording)?;
    let facts = &opened.facts;
    let last = news.latest()?;
    let clock = Clock::going_on(Arc::new(ThisMachine), facts.began, last);
    let (live, entries) = broadcast::channel(FOLLOWED);
    let (asks, _no_marks) = mpsc::channel(ASKS);
    let began = Stamp {
        elapsed: Duration::ZERO,
        time: facts.began,
    };
    let (tell, written) = watch::channel(match facts.ended {
        Some(time) => Written::Closed(Stamp { time, ..last }),
        None => Written::Goes,
    });
    let recording = Recording::Elsewhere(began);
    let session = console::Session {
        screen: screen_facts(&opened.setup, recording).shown_in(shown_in),
        entries,
        asks,
        clock: clock.clone(),
        story: None,
        written: Some(written),
    };
    let ending = runtime()?.block_on(async {
        tokio::select! {
            ending = console::run(session) => ending.map_err(|error| screen_failed(&error)),
            ending = tell_news(&mut news, &live, &tell, &clock) => ending,
        }
    })?;
    leave(ending, None)
}

/// Tells the screen what is in the recording and what is added; never ends but with an error.
async fn tell_news(
    news: &mut News,
    live: &broadcast::Sender<Entry>,
    tell: &watch::Sender<Written>,
    clock: &Clock,
) -> Result<Ending, Stop> {
    loop {
        let entries = news.so_far()?;
        if entries.is_empty() {
            break;
        }
        give(entries, live).await;
    }
    let last = news.last();
    if *tell.borrow() == Written::Goes && last.elapsed + LONG_AGO < clock.now().elapsed {
        // Said at once; where the machine that writes has another time, its next row takes it back.
        tell.send_replace(Written::Stopped(last));
    }
    loop {
        match news.next().await? {
            Heard::Entries(entries) => {
                tell.send_if_modified(|written| {
                    let was_stopped = matches!(written, Written::Stopped(_));
                    if was_stopped {
                        *written = Written::Goes;
                    }
                    was_stopped
                });
                give(entries, live).await;
            }
            Heard::Quiet(_) => {
                tell.send_replace(Written::Stopped(news.last()));
            }
            Heard::Ended(at) => {
                tell.send_replace(Written::Closed(at));
                // It can still be looked at.
                return std::future::pending().await;
            }
        }
    }
}

/// Gives it to the screen, and waits until that has taken it: it need not lose any of a long past.
async fn give(entries: Vec<Entry>, live: &broadcast::Sender<Entry>) {
    for entry in entries {
        // The receiver is the screen beside us; it goes when the screen goes.
        let _ = live.send(entry);
    }
    while live.len() > FOLLOWED / 2 {
        tokio::time::sleep(Duration::from_millis(1)).await;
    }
}

fn screen_failed(error: &io::Error) -> Stop {
    Stop::new(
        Exit::Files,
        format!("the terminal could not be used: {error}\nhelp: 'record' needs no terminal"),
    )
}
