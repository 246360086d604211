//! `emberline await`: returns when something is so.

use std::io::{self, Write as _};
use std::path::{Path, PathBuf};
use std::time::Duration;

use clap::{Args, ValueEnum};
use serde_json::json;
use tokio::sync::broadcast::error::RecvError;
use tokio_util::sync::CancellationToken;

use super::follow::{Heard, News};
use super::judge::{Judge, Verdict};
use super::listening::ListenFirstArgs;
use super::owning::taken;
use super::read::chosen;
use super::record::rfc3339;
use super::running::{self, runtime};
use super::target::Target;
use super::{Exit, Stop, wrapped};
use crate::hands::{Key, reach};
use crate::name::Name;
use crate::record;
use crate::setup::{LoopSetup, Port, Setup};
use crate::signals::{Signal, asked_to_end};

/// A recorder that was killed is waited for so long.
const RESTART_WITHIN: Duration = Duration::from_mins(10);

/// Wait until something is so.
///
/// Exit code 0 when it is; 1 when the time ran out, or the opposite is certain (the tune failed, or
/// the recording ended). What a recording holds already counts. Given a setup whose line another
/// emberline polls, its recording is looked at.
///
/// Example: emberline await recordings/2027-03-04T06-00-00Z_oven --until tuned --within 4h
#[derive(Debug, Args)]
pub(super) struct AwaitArgs {
    /// A setup file, or the folder of a recording that is running.
    source: PathBuf,
    /// What is awaited.
    #[arg(long, value_enum)]
    until: Until,
    /// Only this loop; any loop without it.
    #[arg(long = "loop", value_name = "NAME")]
    only: Option<Name>,
    /// Degrees around the setpoint; the setup's band without it.
    #[arg(long, value_name = "DEGREES")]
    band: Option<f64>,
    /// How long at most.
    #[arg(long, value_name = "DURATION", value_parser = humantime::parse_duration)]
    within: Option<Duration>,
    /// One JSON document when it is over.
    #[arg(long)]
    json: bool,
    #[command(flatten)]
    listen: ListenFirstArgs,
}

#[derive(Clone, Copy, Debug, PartialEq, Eq, ValueEnum)]
pub(super) enum Until {
    /// An autotune ended and changed the tuning.
    Tuned,
    /// The process value came into the band after a setpoint step, and stayed.
    Settled,
    /// The process value is within the band.
    InBand,
    /// The controller reports a fault of its sensor.
    Fault,
}

pub(super) fn run(args: &AwaitArgs) -> Result<Exit, Stop> {
    let verdict = runtime()?.block_on(async {
        let over = async {
            match args.within {
                Some(within) => tokio::time::sleep(within).await,
                None => std::future::pending().await,
            }
        };
        tokio::select! {
            verdict = awaited(args) => verdict,
            () = over => Ok(Verdict::no("the time ran out")),
            signal = asked_to_end() => {
                Ok(Verdict::no(&signal.unwrap_or(Signal::Interrupt).to_string()))
            }
        }
    })?;
    let mut out = io::stdout().lock();
    if args.json {
        let Verdict { happened, of, text } = &verdict;
        writeln!(
            out,
            "{}",
            json!({ "happened": happened, "loop": of, "text": text })
        )?;
    } else {
        let of = verdict
            .of
            .as_ref()
            .map(|name| format!("{name}: "))
            .unwrap_or_default();
        wrapped::write("", &format!("{of}{}", verdict.text), &mut out)?;
    }
    Ok(if verdict.happened {
        Exit::Done
    } else {
        Exit::NotMet
    })
}

async fn awaited(args: &AwaitArgs) -> Result<Verdict, Stop> {
    let setup = match Target::load(&args.source)? {
        Target::Recording(opened) => return on_recording(args, &opened.folder).await,
        Target::Setup(setup) => setup,
    };
    match polled_by_another(args, &setup).await? {
        Some(recording) => on_recording(args, &recording).await,
        None => on_line(args, *setup).await,
    }
}

/// What is there already counts; then every row that is added. A recorder that was killed may be
/// started again: that is waited for, but not for ever, and only if it was seen at work.
async fn on_recording(args: &AwaitArgs, folder: &Path) -> Result<Verdict, Stop> {
    let mut news = News::open(folder)?;
    let mut judge = judge(args, &news.opened().setup)?;
    loop {
        let entries = news.so_far()?;
        if entries.is_empty() {
            break;
        }
        judge.on_all(&entries);
    }
    let mut is_written = false;
    loop {
        if let Some(verdict) = judge.verdict() {
            return Ok(verdict);
        }
        match news.next().await? {
            Heard::Entries(entries) => {
                is_written = true;
                judge.on_all(&entries);
            }
            Heard::Quiet(quiet) if is_written && quiet < RESTART_WITHIN => {
                // A courtesy; a closed standard error stops nothing.
                let _ = writeln!(
                    io::stderr(),
                    "nothing was added for {} s: is the recorder still running?",
                    quiet.as_secs()
                );
            }
            Heard::Quiet(_) => {
                let last = rfc3339(news.last());
                return Ok(Verdict::no(&format!(
                    "nobody is writing the recording: it was not closed, and its last row is of {last}"
                )));
            }
            Heard::Ended(at) => {
                let at = rfc3339(at);
                return Ok(Verdict::no(&format!(
                    "the recording ended at {at} before it happened"
                )));
            }
        }
    }
}

/// The recording to look at instead of a line that another process polls.
async fn polled_by_another(args: &AwaitArgs, setup: &Setup) -> Result<Option<PathBuf>, Stop> {
    let loops = chosen(setup, args.only.as_ref())?;
    for line in setup.used_lines() {
        if !loops.iter().any(|it| it.line == line.name) {
            continue;
        }
        let Some(reached) = reach(&Key::port(&line.port)).await else {
            continue;
        };
        let owner = reached.owner;
        if let Some(recording) = owner.recording.clone().filter(|it| has_all(it, &loops)) {
            // A courtesy; a closed standard error stops nothing.
            let _ = writeln!(io::stderr(), "line {}: read by {owner}", line.name);
            return Ok(Some(recording));
        }
        // A gateway serves several masters.
        if !matches!(line.port, Port::Tcp(_)) {
            return Err(taken(&line.port, Some(&owner)));
        }
    }
    Ok(None)
}

/// Whether a recording has these very loops.
fn has_all(recording: &Path, loops: &[LoopSetup]) -> bool {
    let Ok(opened) = record::open(recording) else {
        return false;
    };
    let is_same = |a: &LoopSetup, b: &LoopSetup| {
        (&a.name, a.unit, &a.map_text) == (&b.name, b.unit, &b.map_text)
    };
    let has = |it: &LoopSetup| opened.setup.loops.iter().any(|other| is_same(it, other));
    loops.iter().all(has)
}

async fn on_line(args: &AwaitArgs, setup: Setup) -> Result<Verdict, Stop> {
    let mut judge = judge(args, &setup)?;
    let stop = CancellationToken::new();
    let (token, manner) = (stop.clone(), args.listen.manner());
    let start = move || running::start(&setup, manner, None, &token, None);
    // Opening ports waits on other threads.
    let started = tokio::task::spawn_blocking(start).await;
    let mut running = started.map_err(|error| Stop::new(Exit::Line, error))??;
    let mut live = running.listen();
    while judge.verdict().is_none() {
        match live.recv().await {
            Ok(entry) => judge.on(&entry),
            Err(RecvError::Lagged(_)) => {}
            Err(RecvError::Closed) => break,
        }
    }
    running.finish()?;
    Ok(judge
        .verdict()
        .unwrap_or_else(|| Verdict::no("the line ended before it happened")))
}

fn judge(args: &AwaitArgs, setup: &Setup) -> Result<Judge, Stop> {
    let loops = chosen(setup, args.only.as_ref())?;
    Judge::new(args.until, args.band, loops)
}
