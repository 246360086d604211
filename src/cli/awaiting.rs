//! `emberline await`: returns when something is so.

use std::io::{self, Write as _};
use std::path::PathBuf;
use std::time::Duration;

use clap::{Args, ValueEnum};
use serde_json::json;
use tokio::sync::broadcast::error::RecvError;
use tokio_util::sync::CancellationToken;

use super::follow::News;
use super::judge::{Judge, Verdict};
use super::listening::ListenFirstArgs;
use super::read::chosen;
use super::running::{self, runtime};
use super::{Exit, Stop};
use crate::name::Name;
use crate::record;
use crate::setup::Setup;
use crate::signals::{Signal, asked_to_end};

/// Wait until something is so.
///
/// Exit code 0 when it is; 1 when the time ran out, or the opposite is certain (the tune failed).
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
        writeln!(out, "{of}{}", verdict.text)?;
    }
    Ok(if verdict.happened {
        Exit::Done
    } else {
        Exit::NotMet
    })
}

async fn awaited(args: &AwaitArgs) -> Result<Verdict, Stop> {
    if record::is_recording(&args.source) {
        on_recording(args).await
    } else {
        on_line(args).await
    }
}

/// What is there already counts; then every row that is added.
async fn on_recording(args: &AwaitArgs) -> Result<Verdict, Stop> {
    let mut news = News::open(&args.source)?;
    let mut judge = judge(args, news.follower().setup())?;
    for entry in news.so_far()? {
        judge.on(&entry);
    }
    while judge.verdict().is_none() {
        let Some(entries) = news.next().await? else {
            return Ok(Verdict::no("the recording ended before it happened"));
        };
        for entry in &entries {
            judge.on(entry);
        }
    }
    Ok(judge.verdict().unwrap_or_else(|| Verdict::no("")))
}

async fn on_line(args: &AwaitArgs) -> Result<Verdict, Stop> {
    let setup = Setup::load(&args.source)?;
    let mut judge = judge(args, &setup)?;
    let stop = CancellationToken::new();
    let (starting, token, manner) = (setup.clone(), stop.clone(), args.listen.manner());
    let start = move || running::start(&starting, manner, None, &token, None);
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
