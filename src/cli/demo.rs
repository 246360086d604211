//! `emberline demo`: the whole job on a simulated oven.

use std::fs;
use std::io::{self, IsTerminal as _, Write as _};
use std::path::{Path, PathBuf};
use std::sync::mpsc::sync_channel;
use std::thread;

use clap::Args;
use tokio::sync::{mpsc, watch};
use tokio_util::sync::CancellationToken;

use super::evidence::write_report;
use super::running::runtime;
use super::watch::{pass_on, screen_facts};
use super::{Exit, Stop, before_after, evidence_json, screen_place};
use crate::clock::{Stamp, Stopwatch};
use crate::console::{self, Ask, Ending, Recording, Story};
use crate::demo::{self, BEGAN, DemoError, Live, Pace, Simulation, Stage, Teller};
use crate::evidence::{self, Comparison, Side, Wanted};
use crate::record::{self, CsvColumns};
use crate::setup::Setup;

/// The whole job on a simulated annealing oven, no hardware needed.
///
/// Tuning left over from a smaller oven, a setpoint step, an autotune, the same step again, and the
/// evidence. On a terminal it opens the live screen; elsewhere, also on a dumb one (TERM=dumb), it runs
/// as fast as it can.
///
/// Example: emberline demo --headless --out /tmp/demo
#[derive(Debug, Args)]
pub(super) struct DemoArgs {
    /// The folder that gets the recording and the report.
    #[arg(long, value_name = "DIR", default_value = "emberline-demo")]
    out: PathBuf,
    /// No screen, also on a terminal.
    #[arg(long)]
    headless: bool,
    /// How many times faster than a real oven the live screen runs.
    #[arg(long, default_value_t = 60.0, value_name = "N")]
    speed: f64,
    /// Another seed, other noise; the same seed gives the same bytes.
    #[arg(long, default_value_t = 1, value_name = "N")]
    seed: u64,
    /// The before/after numbers as one JSON document.
    #[arg(long)]
    json: bool,
}

pub(super) fn run(args: &DemoArgs) -> Result<Exit, Stop> {
    if !(args.speed.is_finite() && args.speed > 0.0) {
        return Err(Stop::new(Exit::WrongUse, "--speed is a number above 0"));
    }
    let setup = demo::setup()?;
    make_room(&args.out, &setup)?;
    let can_show = io::stdin().is_terminal() && screen_place::obstacle().is_none();
    let on_screen = !args.headless && can_show;
    let recording = if on_screen {
        show(args, &setup)?
    } else {
        headless(args, &setup)?
    };
    conclude(args, &recording)
}

/// A demo replaces what an earlier demo left, and nothing else.
fn make_room(out: &Path, setup: &Setup) -> Result<(), Stop> {
    let old = out.join(record::folder_name(BEGAN, &setup.name));
    if !old.exists() {
        return Ok(());
    }
    let ours = record::open(&old).is_ok_and(|old| old.setup.text == setup.text);
    if !ours {
        let text = format!(
            "{} is there already and is no earlier demo's\nhelp: choose another folder with --out",
            old.display()
        );
        return Err(Stop::new(Exit::Files, text));
    }
    fs::remove_dir_all(&old).map_err(|error| {
        Stop::new(
            Exit::Files,
            format!(
                "{} could not be replaced: {error}\nhelp: choose another folder with --out",
                old.display()
            ),
        )
    })
}

fn headless(args: &DemoArgs, setup: &Setup) -> Result<PathBuf, Stop> {
    let simulation = Simulation {
        setup,
        seed: args.seed,
        pace: Pace::Fastest,
        into: &args.out,
        stop: CancellationToken::new(),
    };
    Ok(simulation.run(Progress::default(), |_| {})?)
}

/// Tells each part with the time left.
struct Progress {
    watch: Stopwatch,
    done: u32,
}

impl Default for Progress {
    fn default() -> Self {
        Self {
            watch: Stopwatch::start(),
            done: 0,
        }
    }
}

impl Teller for Progress {
    fn begin(&mut self, stage: Stage) {
        let took = self.watch.elapsed().as_secs_f64();
        let left = took * f64::from(100 - self.done) / f64::from(self.done.max(1));
        let left = if self.done == 0 {
            String::new()
        } else {
            format!(", {:.0} s left", left.ceil())
        };
        // Progress is a courtesy.
        let _ = writeln!(io::stderr(), "{:>3} %{left}: {}", self.done, stage.caption);
        self.done += stage.percent;
    }

    async fn wait(&mut self, _: &'static str) {}
}

/// The simulation on a thread of its own, the screen on this one.
fn show(args: &DemoArgs, setup: &Setup) -> Result<PathBuf, Stop> {
    let stop = CancellationToken::new();
    let (told, story) = watch::channel(Story::default());
    let (go_on, goes_on) = mpsc::channel(1);
    let (begin, begun) = sync_channel(1);
    let simulated = {
        let (setup, stop, into) = (setup.clone(), stop.clone(), args.out.clone());
        let (seed, pace) = (args.seed, Pace::Times(args.speed));
        thread::spawn(move || {
            let simulation = Simulation {
                setup: &setup,
                seed,
                pace,
                into: &into,
                stop,
            };
            let teller = OnScreen { told, goes_on };
            simulation.run(teller, |live| {
                // The screen waits for this.
                let _ = begin.send(live);
            })
        })
    };
    let ending = match begun.recv() {
        Ok(live) => on_screen(setup, live, story, &go_on, &stop),
        // The simulation could not begin; its own error tells why.
        Err(_) => Ok(Ending::Quit),
    };
    stop.cancel();
    let recording = simulated
        .join()
        .map_err(|_| DemoError::Crashed("see the lines above".to_owned()))?;
    ending?;
    Ok(recording?)
}

fn on_screen(
    setup: &Setup,
    live: Live,
    story: watch::Receiver<Story>,
    go_on: &mpsc::Sender<()>,
    stop: &CancellationToken,
) -> Result<Ending, Stop> {
    let began = Stamp {
        elapsed: std::time::Duration::ZERO,
        time: BEGAN,
    };
    let screen = screen_facts(setup, Recording::Here(began));
    let (asks, mut asked) = mpsc::channel(16);
    let (marks, marked) = mpsc::channel(16);
    let session = console::Session {
        screen,
        entries: live.entries,
        asks,
        clock: live.clock.clone(),
        story: Some(story),
        written: None,
    };
    let sort_asks = async {
        while let Some(ask) = asked.recv().await {
            // A full channel means the key was pressed twice: once is enough.
            match ask {
                Ask::GoOn => drop(go_on.try_send(())),
                mark @ Ask::Mark(_) => drop(marks.send(mark).await),
            }
        }
        std::future::pending::<Result<Ending, Stop>>().await
    };
    runtime()?.block_on(async {
        tokio::select! {
            ending = console::run(session) => {
                ending.map_err(|error| Stop::new(Exit::Files, format!("the terminal could not be used: {error}")))
            }
            never = sort_asks => never,
            never = pass_on(marked, &live.hand) => never,
            () = stop.cancelled() => Ok(Ending::Quit),
        }
    })
}

/// Puts each part on the screen and waits for its key.
struct OnScreen {
    told: watch::Sender<Story>,
    goes_on: mpsc::Receiver<()>,
}

impl Teller for OnScreen {
    fn begin(&mut self, stage: Stage) {
        self.told.send_replace(Story {
            caption: stage.caption.to_owned(),
            next: None,
        });
    }

    async fn wait(&mut self, invitation: &'static str) {
        // A key pressed before there was anything to wait for does not count.
        while self.goes_on.try_recv().is_ok() {}
        self.told
            .send_modify(|story| story.next = Some(invitation.to_owned()));
        // With the screen gone the story is stopped from outside.
        if self.goes_on.recv().await.is_none() {
            std::future::pending::<()>().await;
        }
    }
}

/// Measures both steps, writes the report, and tells where everything is.
fn conclude(args: &DemoArgs, recording: &Path) -> Result<Exit, Stop> {
    let opened = record::open_source(recording, &CsvColumns::default())?;
    let (source, _) = opened.read()?;
    let report = args.out.join("evidence.html");
    let mut out = io::stdout().lock();
    let Some(record) = source.loops.first() else {
        return Ok(Exit::Done);
    };
    let Ok(pair) = evidence::pair(record, record, true, Wanted::default()) else {
        writeln!(out, "recording: {}", recording.display())?;
        writeln!(
            out,
            "The demo was left before the second step: there is nothing to compare yet."
        )?;
        return Ok(Exit::Done);
    };
    let comparison = Comparison {
        before: Side::new(&source, record, &pair.before),
        after: Side::new(&source, record, &pair.after),
        criteria: None,
    };
    write_report(&report, &evidence::render(&comparison))?;
    if args.json {
        evidence_json::write(&comparison, &report, Some(recording), &mut out)?;
        return Ok(Exit::Done);
    }
    writeln!(out)?;
    before_after::write(&comparison, &mut out)?;
    writeln!(out)?;
    writeln!(out, "recording: {}", recording.display())?;
    writeln!(out, "report: {}", report.display())?;
    Ok(Exit::Done)
}

impl From<DemoError> for Stop {
    fn from(error: DemoError) -> Self {
        match error {
            DemoError::Record(error) => error.into(),
            DemoError::Port(error) => error.into(),
            DemoError::Panel(_)
            | DemoError::EndlessTune
            | DemoError::Crashed(_)
            | DemoError::System(_) => Self::new(Exit::Line, error),
        }
    }
}
