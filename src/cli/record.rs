//! `emberline record`: the headless recorder.

use std::io::{self, Write as _};
use std::path::{Path, PathBuf};
use std::time::Duration;

use clap::Args;
use serde_json::json;
use tokio::sync::broadcast::{self, error::RecvError};
use tokio_util::sync::CancellationToken;

use super::running::{self, Running, runtime};
use super::{Exit, Stop, signals};
use crate::name::Name;
use crate::record::Recorder;
use crate::sample::Entry;
use crate::setup::Setup;

/// Record loops without a screen.
///
/// Every scheduled poll becomes a row, good or not. Ends after --for, or in order on Ctrl-C or a stop
/// signal. Emberline only watches: keep an independent over-temperature cut-out.
///
/// Example: emberline record oven.toml --into recordings --for 7d
#[derive(Debug, Args)]
pub(super) struct RecordArgs {
    /// The setup file.
    setup: PathBuf,
    /// The folder that gets the recording's folder.
    #[arg(long, value_name = "DIR")]
    into: PathBuf,
    /// How long, from the recording's start: 40s, 1h 30m, 7d.
    #[arg(long = "for", value_name = "DURATION", value_parser = humantime::parse_duration)]
    duration: Option<Duration>,
    /// The recording's name; the setup file's without it.
    #[arg(long)]
    name: Option<Name>,
    /// One JSON object a line for each event, and one for the recording at the end.
    #[arg(long)]
    json: bool,
}

pub(super) fn run(args: &RecordArgs) -> Result<Exit, Stop> {
    let setup = Setup::load(&args.setup)?;
    let stop = CancellationToken::new();
    let name = recording_name(args.name.as_ref(), &setup);
    let running = running::start(&setup, args.duration, &stop, |clock| {
        Recorder::create(&args.into, &name, &setup, clock).map(Some)
    })?;
    let told = runtime()?.block_on(until_told(&running, args.json, &stop));
    let folder = running.finish()?;
    told?;
    announce(folder.as_deref(), args.json)
}

/// The given name, else the setup's.
pub(super) fn recording_name(given: Option<&Name>, setup: &Setup) -> String {
    given.map_or_else(|| setup.name.clone(), Name::to_string)
}

/// Tells events as they come, until a signal or the session's own end.
async fn until_told(running: &Running, json: bool, stop: &CancellationToken) -> Result<(), Stop> {
    let mut live = running.live.subscribe();
    let telling = async {
        loop {
            tell(&mut live, json).await?;
        }
    };
    tokio::select! {
        told = telling => told,
        () = stop.cancelled() => Ok(()),
        reason = signals::asked_to_end() => {
            let reason = reason.map_err(|error| Stop::new(Exit::Files, format!("signals cannot be heard: {error}")))?;
            let _ = writeln!(io::stderr(), "{reason}: closing the recording");
            Ok(())
        }
    }
}

async fn tell(live: &mut broadcast::Receiver<Entry>, json: bool) -> Result<(), Stop> {
    let event = match live.recv().await {
        Ok(Entry::Event(event)) => event,
        Ok(Entry::Sample(_) | Entry::Settings(_) | Entry::Health(_))
        | Err(RecvError::Lagged(_)) => return Ok(()),
        // The session is ending; whoever waits for that goes on.
        Err(RecvError::Closed) => return std::future::pending().await,
    };
    let time = event
        .stamp
        .time
        .to_rfc3339_opts(chrono::SecondsFormat::Millis, true);
    if json {
        let line = json!({ "loop": event.of, "time": time, "event": event.what.word(), "text": event.text });
        writeln!(io::stdout().lock(), "{line}")?;
    } else {
        let about = event.of.as_ref().map_or("all loops", |name| name.as_str());
        // Progress is a courtesy; a closed standard error stops no recording.
        let _ = writeln!(io::stderr(), "{time}  {about}  {}", event.text);
    }
    Ok(())
}

fn announce(folder: Option<&Path>, json: bool) -> Result<Exit, Stop> {
    let Some(folder) = folder else {
        return Ok(Exit::Done);
    };
    let mut out = io::stdout().lock();
    if json {
        writeln!(out, "{}", json!({ "recording": folder }))?;
    } else {
        writeln!(out, "{}", folder.display())?;
    }
    Ok(Exit::Done)
}
