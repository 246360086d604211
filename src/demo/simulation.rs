//! The program and the oven in one current-thread runtime on paused time.

use std::path::{Path, PathBuf};
use std::time::Duration;

use futures_util::FutureExt as _;
use mock_device::controller::Refused;
use mock_device::oven::{LEFT_OVER_TUNING, Oven};
use mock_device::panel::Panel;
use mock_device::registers::Annealer;
use mock_device::wire::{Bus, Timing, Unit, in_memory};
use tokio::runtime::Builder;
use tokio::sync::broadcast;
use tokio::task::JoinHandle;
use tokio_util::sync::CancellationToken;

use super::pace::{self, Pace};
use super::scenario::{BEGAN, UNIT};
use super::story::{self, Teller};
use crate::clock::Clock;
use crate::line::{self, Manner, Opened, Opener, PortError, Start};
use crate::record::{RecordError, Recorder};
use crate::sample::Entry;
use crate::session::{Hand, Opening, Session};
use crate::setup::{LineSetup, Setup};

/// The demo's wire is as slow as a real one: its setup's baud rate, and a controller that takes a while.
const BAUD: u32 = 9600;
const TURNAROUND: Duration = Duration::from_millis(10);
/// Where the oven stands when the story begins, degC.
const HELD: f64 = 490.0;

/// A demo that has not begun.
pub struct Simulation<'a> {
    /// The demo's setup.
    pub setup: &'a Setup,
    /// Decides the sensor's noise.
    pub seed: u64,
    /// How fast it goes by.
    pub pace: Pace,
    /// The folder that gets the recording.
    pub into: &'a Path,
    /// Ends it early, and in order.
    pub stop: CancellationToken,
}

/// What a screen needs of a running demo.
#[derive(Debug)]
pub struct Live {
    /// Everything as it happens.
    pub entries: broadcast::Receiver<Entry>,
    /// For marks.
    pub hand: Hand,
    /// The simulation's clock.
    pub clock: Clock,
}

/// Why a demo did not come to its end.
#[derive(Debug, thiserror::Error)]
pub enum DemoError {
    /// The recording could not be written.
    #[error(transparent)]
    Record(#[from] RecordError),
    /// The simulated line could not be opened.
    #[error(transparent)]
    Port(#[from] PortError),
    /// The simulated controller did not do its part.
    #[error("the simulated controller: {0}")]
    Panel(#[from] Refused),
    /// Its autotune goes on and on.
    #[error("the simulated controller: its autotune does not end")]
    EndlessTune,
    /// A task ended by an error of the program itself.
    #[error("the simulation stopped on an error of the program itself: {0}")]
    Crashed(String),
    /// The system gives no event queue.
    #[error("the system gives no event queue: {0}")]
    System(#[from] std::io::Error),
}

impl Simulation<'_> {
    /// Runs it to its end, or until it is stopped; gives the recording's folder.
    ///
    /// `on_begin` is called once polling begins.
    ///
    /// # Errors
    /// The recording cannot be written, or the story cannot be played.
    pub fn run(
        self,
        mut teller: impl Teller,
        on_begin: impl FnOnce(Live),
    ) -> Result<PathBuf, DemoError> {
        let runtime = Builder::new_current_thread()
            .enable_all()
            .start_paused(true)
            .build()?;
        runtime.block_on(async {
            let panel = Panel::new(Oven::settled_at(HELD, LEFT_OVER_TUNING, self.seed), 1.0);
            let mut bus = Bus::new(vec![Unit::new(UNIT, &Annealer, panel.clone())]);
            bus.timing = Timing::at_baud(BAUD, TURNAROUND);
            let ours = in_memory(bus);
            let mut opening = Opening::new(self.setup, Manner::Ask, &mut once(ours), &self.stop);
            let lines: Vec<JoinHandle<()>> = std::mem::take(&mut opening.lines)
                .into_iter()
                .map(tokio::spawn)
                .collect();
            opening.wait(|_| {}).await?;
            let clock = Clock::starting_at(BEGAN);
            let recorder = Recorder::create(self.into, &self.setup.name, self.setup, &clock)?;
            let Session {
                hub,
                recorder,
                live,
                hand,
                ..
            } = opening.begin(self.setup, Start::of(clock.clone()), Some(recorder));
            on_begin(Live {
                entries: live.subscribe(),
                hand,
                clock,
            });
            drop(live);
            let hub = tokio::spawn(hub);
            let recorder = recorder.map(tokio::spawn);
            let played = tokio::select! {
                played = story::play(&panel, &mut teller) => played,
                () = self.stop.cancelled() => Ok(()),
                () = pace::keep(self.pace) => Ok(()),
            };
            self.stop.cancel();
            for task in lines.into_iter().chain([hub]) {
                task.await
                    .map_err(|error| DemoError::Crashed(error.to_string()))?;
            }
            played?;
            match recorder {
                Some(task) => Ok(task
                    .await
                    .map_err(|error| DemoError::Crashed(error.to_string()))??),
                None => Ok(PathBuf::new()),
            }
        })
    }
}

/// An opener that gives this wire the first time, and then has none.
fn once(wire: tokio::io::DuplexStream) -> impl FnMut(&LineSetup) -> Opener {
    let mut wire = Some(wire);
    move |line| {
        let (mut wire, pace) = (wire.take(), line::Pace::of(&line.port));
        Box::new(move || {
            let given = wire
                .take()
                .map(|wire| Opened {
                    wire: Box::new(wire),
                    pace,
                })
                .ok_or_else(|| PortError {
                    what: "the simulated line is gone".to_owned(),
                    help: "start the demo again".to_owned(),
                });
            async move { given }.boxed()
        })
    }
}
