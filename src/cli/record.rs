//! `emberline record`: the headless recorder.

use std::io::{self, Write as _};
use std::path::{Path, PathBuf};
use std::time::Duration;

use clap::Args;
use serde_json::json;
use tokio::sync::broadcast::{self, error::RecvError};
use tokio_util::sync::CancellationToken;

use super::awake::SleepArgs;
use super::health::{health_json, note_json, tell_advice};
use super::listening::ListenArgs;
use super::on::OnArgs;
use super::running::{self, Recording, runtime};
use super::{Exit, Stop, service};
use crate::clock::Stamp;
use crate::name::Name;
use crate::notice::{Advice, AdviceWatch};
use crate::sample::{Entry, Event, Health};
use crate::setup::Setup;
use crate::signals::asked_to_end;

/// Record loops without a screen
///
/// Every scheduled poll becomes a row, good or not. Ends after --for, or in order on Ctrl-C or a stop
/// signal. Where a panel or a PLC already polls the units, --listen-only makes the rows from what it
/// reads, without sending a byte. Emberline only watches: keep an independent over-temperature cut-out.
///
/// Examples:
///   emberline record oven.toml --into recordings --for 7d
///   emberline record oven.toml --into recordings --listen-only
///   emberline record oven.toml --into recordings --on tune-ended 'notify-send "$EMBERLINE_TEXT"'
#[derive(Debug, Args)]
#[command(verbatim_doc_comment)]
pub(super) struct RecordArgs {
    /// The setup file.
    setup: PathBuf,
    /// The folder that gets the recording's folder.
    #[arg(long, value_name = "DIR")]
    into: PathBuf,
    /// How long, from the recording's start: 40s, 1h 30m, 7d.
    #[arg(long = "for", value_name = "DURATION", value_parser = humantime::parse_duration)]
    duration: Option<Duration>,
    /// The recording's name; the setup file's without it. A recording of this name that was not
    /// closed, made with the same setup, is continued.
    #[arg(long)]
    name: Option<Name>,
    /// The longest time between two syncs to the disk.
    #[arg(long, value_name = "DURATION", default_value = "5s", value_parser = humantime::parse_duration)]
    sync: Duration,
    #[command(flatten)]
    listen: ListenArgs,
    #[command(flatten)]
    on: OnArgs,
    #[command(flatten)]
    sleep: SleepArgs,
    /// One JSON object a line: each event, how well each unit answers every ten seconds, what should
    /// be checked about a line, and the recording at the end.
    #[arg(long)]
    json: bool,
}

pub(super) fn run(args: &RecordArgs) -> Result<Exit, Stop> {
    let setup = Setup::load(&args.setup)?;
    let stop = CancellationToken::new();
    let name = recording_name(args.name.as_ref(), &setup);
    let recording = Recording {
        into: &args.into,
        name: &name,
        sync_every: args.sync,
        outlives_terminal: false,
    };
    let manner = args.listen.manner(setup.used_lines())?;
    let on = args.on.runner(&setup, false)?;
    let mut running = running::start(&setup, manner, args.duration, &stop, Some(&recording))?;
    running.run_on(on)?;
    let mut live = running.listen();
    let mut teller = Teller::new(&setup, args.listen.listen_only, args.json);
    if let Some(folder) = &running.folder {
        let _ = writeln!(io::stderr(), "recording into {}", folder.display());
        service::began(folder);
    }
    let _awake = args.sleep.keep_awake();
    let progress = running.progress.clone();
    let told = runtime()?.block_on(async {
        tokio::select! {
            told = until_told(&mut live, &mut teller, &stop) => told,
            never = service::report(progress, &setup) => never,
        }
    });
    service::ending();
    let folder = running.finish()?;
    told?;
    // What the lines said while they ended.
    while let Ok(entry) = live.try_recv() {
        teller.tell(&entry)?;
    }
    announce(folder.as_deref(), args.json)
}

/// The given name, else the setup's.
pub(super) fn recording_name(given: Option<&Name>, setup: &Setup) -> String {
    given.map_or_else(|| setup.name.clone(), Name::to_string)
}

/// Tells what happens as it comes, until a signal or the session's own end.
async fn until_told(
    live: &mut broadcast::Receiver<Entry>,
    teller: &mut Teller,
    stop: &CancellationToken,
) -> Result<(), Stop> {
    let telling = async {
        loop {
            match live.recv().await {
                Ok(entry) => teller.tell(&entry)?,
                Err(RecvError::Lagged(_)) => {}
                // The session is ending; whoever waits for that goes on.
                Err(RecvError::Closed) => return std::future::pending().await,
            }
        }
    };
    tokio::select! {
        // A signal stops the session too, and is to be named all the same.
        biased;
        signal = asked_to_end() => {
            let signal = signal.map_err(|error| Stop::new(Exit::Files, format!("signals cannot be heard: {error}")))?;
            let _ = writeln!(io::stderr(), "{signal}: closing the recording");
            Ok(())
        }
        told = telling => told,
        () = stop.cancelled() => Ok(()),
    }
}

/// Tells events, and advice about the lines when it first holds.
struct Teller {
    json: bool,
    watch: AdviceWatch,
    told: Vec<Advice>,
}

impl Teller {
    fn new(setup: &Setup, listens: bool, json: bool) -> Self {
        let loops = setup
            .loops
            .iter()
            .map(|the_loop| (format!("line {}", the_loop.line), &the_loop.name));
        Self {
            json,
            watch: AdviceWatch::new(loops, listens),
            told: Vec::new(),
        }
    }

    fn tell(&mut self, entry: &Entry) -> Result<(), Stop> {
        match entry {
            Entry::Event(event) => self.tell_event(event),
            Entry::Health(health) => self.tell_health(health),
            Entry::Sample(_) | Entry::Settings(_) => Ok(()),
        }
    }

    fn tell_event(&self, event: &Event) -> Result<(), Stop> {
        let time = rfc3339(event.stamp);
        if self.json {
            let line = json!({ "loop": event.of, "time": time, "event": event.what.word(), "text": event.text });
            writeln!(io::stdout().lock(), "{line}")?;
        } else {
            let about = event.of.as_ref().map_or("all loops", |name| name.as_str());
            // Progress is a courtesy; a closed standard error stops no recording.
            let _ = writeln!(io::stderr(), "{time}  {about}  {}", event.text);
        }
        Ok(())
    }

    fn tell_health(&mut self, health: &Health) -> Result<(), Stop> {
        let time = rfc3339(health.stamp);
        let mut out = io::stdout().lock();
        if self.json {
            let line = json!({ "loop": health.of, "time": time, "health": health_json(health) });
            writeln!(out, "{line}")?;
        }
        self.watch.on(health);
        let advice = self.watch.advice();
        for new in advice.iter().filter(|one| !self.told.contains(one)) {
            if self.json {
                writeln!(out, "{}", json!({ "time": time, "note": note_json(new) }))?;
            }
            tell_advice(new);
        }
        self.told = advice;
        Ok(())
    }
}

/// A moment as people and scripts read it.
pub(super) fn rfc3339(stamp: Stamp) -> String {
    stamp
        .time
        .to_rfc3339_opts(chrono::SecondsFormat::Millis, true)
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
