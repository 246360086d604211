//! `emberline await`: returns when something is so.

use std::collections::HashMap;
use std::io::{self, Write as _};
use std::path::PathBuf;
use std::sync::Arc;
use std::time::Duration;

use clap::{Args, ValueEnum};
use serde_json::json;
use tokio::sync::broadcast::error::RecvError;
use tokio_util::sync::CancellationToken;

use super::follow::News;
use super::read::chosen;
use super::running::{self, runtime};
use super::{Exit, Stop, signals};
use crate::map::{Map, Role};
use crate::name::Name;
use crate::record;
use crate::sample::{Entry, Event, Happening, Sample};
use crate::setup::{LoopSetup, Setup};

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
}

#[derive(Clone, Copy, Debug, PartialEq, Eq, ValueEnum)]
enum Until {
    /// An autotune ended and changed the tuning.
    Tuned,
    /// The process value is within the band.
    InBand,
    /// The controller reports a fault of its sensor.
    Fault,
}

/// What was awaited came, or never will.
#[derive(Clone, Debug)]
struct Verdict {
    happened: bool,
    of: Option<Name>,
    text: String,
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
            reason = signals::asked_to_end() => Ok(Verdict::no(reason.unwrap_or("interrupted"))),
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
    let mut judge = Judge::new(args, news.follower().setup())?;
    for entry in news.so_far()? {
        judge.on(&entry);
    }
    while judge.verdict.is_none() {
        let Some(entries) = news.next().await? else {
            return Ok(Verdict::no("the recording ended before it happened"));
        };
        for entry in &entries {
            judge.on(entry);
        }
    }
    Ok(judge.verdict.unwrap_or_else(|| Verdict::no("")))
}

async fn on_line(args: &AwaitArgs) -> Result<Verdict, Stop> {
    let setup = Setup::load(&args.source)?;
    let mut judge = Judge::new(args, &setup)?;
    let stop = CancellationToken::new();
    let starting = setup.clone();
    let token = stop.clone();
    // Opening ports waits on other threads.
    let running =
        tokio::task::spawn_blocking(move || running::start(&starting, None, &token, |_| Ok(None)))
            .await
            .map_err(|error| Stop::new(Exit::Line, error))??;
    let mut live = running.live.subscribe();
    while judge.verdict.is_none() {
        match live.recv().await {
            Ok(entry) => judge.on(&entry),
            Err(RecvError::Lagged(_)) => {}
            Err(RecvError::Closed) => break,
        }
    }
    running.finish()?;
    Ok(judge
        .verdict
        .unwrap_or_else(|| Verdict::no("the line ended before it happened")))
}

/// Judges entries as they come; the last word counts until it is asked for.
struct Judge {
    until: Until,
    loops: HashMap<Name, Watched>,
    verdict: Option<Verdict>,
}

struct Watched {
    map: Arc<Map>,
    band: Option<f64>,
}

impl Judge {
    fn new(args: &AwaitArgs, setup: &Setup) -> Result<Self, Stop> {
        let loops = chosen(setup, args.only.as_ref())?;
        let bandless = loops
            .iter()
            .find(|the_loop| args.band.or(the_loop.band).is_none());
        if let (Until::InBand, Some(the_loop)) = (args.until, bandless) {
            let text = format!(
                "loop '{}' has no band\nhelp: give one with --band, or in the setup",
                the_loop.name
            );
            return Err(Stop::new(Exit::WrongUse, text));
        }
        let watched = |the_loop: LoopSetup| {
            (
                the_loop.name,
                Watched {
                    map: the_loop.map,
                    band: args.band.or(the_loop.band),
                },
            )
        };
        Ok(Self {
            until: args.until,
            loops: loops.into_iter().map(watched).collect(),
            verdict: None,
        })
    }

    fn on(&mut self, entry: &Entry) {
        match entry {
            Entry::Sample(sample) if self.until == Until::InBand => self.on_sample(sample),
            Entry::Event(event) => self.on_event(event),
            Entry::Sample(_) | Entry::Settings(_) | Entry::Health(_) => {}
        }
    }

    fn on_event(&mut self, event: &Event) {
        if event
            .of
            .as_ref()
            .is_some_and(|of| !self.loops.contains_key(of))
        {
            return;
        }
        let verdict = |happened| {
            Some(Verdict {
                happened,
                of: event.of.clone(),
                text: event.text.clone(),
            })
        };
        match (self.until, event.what) {
            (Until::Tuned, Happening::AutotuneTuned) | (Until::Fault, Happening::FaultBegan) => {
                self.verdict = verdict(true);
            }
            (Until::Tuned, Happening::AutotuneUnchanged | Happening::AutotuneUnknown) => {
                self.verdict = verdict(false);
            }
            (Until::Tuned, Happening::AutotuneBegan) | (Until::Fault, Happening::FaultEnded) => {
                self.verdict = None;
            }
            _ => {}
        }
    }

    fn on_sample(&mut self, sample: &Sample) {
        let Some(watched) = self.loops.get(&sample.of) else {
            return;
        };
        let value = |role: Role| {
            let index = watched
                .map
                .trend_points()
                .position(|point| point.role == role)?;
            sample.readings.get(index)?.value()
        };
        let deviation = value(Role::ProcessValue)
            .zip(value(Role::Setpoint))
            .map(|(pv, setpoint)| pv - setpoint);
        let in_band = deviation
            .zip(watched.band)
            .is_some_and(|(deviation, band)| deviation.abs() <= band);
        let text = || {
            format!(
                "in band: {:.1} from the setpoint",
                deviation.unwrap_or_default()
            )
        };
        self.verdict = in_band.then(|| Verdict {
            happened: true,
            of: Some(sample.of.clone()),
            text: text(),
        });
    }
}

impl Verdict {
    fn no(text: &str) -> Self {
        Self {
            happened: false,
            of: None,
            text: text.to_owned(),
        }
    }
}
