//! One task owns one line: port -> exchange -> plan -> poll. The only part that knows Modbus.
//!
//! [`Line::connect`] opens the port. [`Line::run`] opens it, says so, and then polls every loop on a
//! fixed grid, sending one sample for every scheduled poll, good or not.

mod exchange;
mod failure;
mod find;
mod frame;
mod givers;
mod identity;
mod plan;
mod poll;
mod polling;
mod port;
mod read_plan;
mod run;
mod schedule;
mod tally;
mod trust;
mod walk;

use std::sync::Arc;
use std::time::Duration;

use tokio::sync::{mpsc, oneshot};
use tokio::time::Instant;
use tokio_util::sync::CancellationToken;

pub use failure::{Failure, exception_name};
pub use find::{
    Answer, Asking, Found, Identification, News, OpenAt, Outcome, Search, Sweep, USUAL_BAUDS,
    USUAL_FORMATS,
};
pub use identity::{PresentPort, lasting_name, present_ports};
pub use port::{Opened, Opener, Pace, PortError, Wire, opener};
pub use read_plan::{PlannedRead, ReadPlan};
pub use walk::{Step, Walk};

use crate::clock::{Clock, Stamp};
use crate::map::{Place, Point, Remark};
use crate::name::Name;
use crate::sample::{Entry, Health, Reading, SettingsCause};
use crate::setup::{LineSetup, LoopSetup, Port};
use exchange::{Exchange, Memory};
use givers::read_scaled;
use plan::{Lengths, Taken};
use poll::Polled;
use polling::Polling;

/// What a line can be asked for while it runs.
#[derive(Clone, Debug, PartialEq, Eq)]
pub enum Ask {
    /// Read the slow points of this loop at once and send them on.
    Settings(Name, SettingsCause),
}

/// One line and the loops that hang on it.
pub struct Line {
    name: Name,
    port: Port,
    answer_within: Duration,
    opener: Opener,
    pace: Pace,
    exchange: Option<Exchange>,
    /// From before the port was lost.
    memory: Memory,
    loops: Vec<LoopSetup>,
}

/// What ties a running line to the rest of a session.
pub struct Ties {
    /// Where everything goes.
    pub out: mpsc::Sender<Entry>,
    /// What is asked of the line.
    pub asks: mpsc::Receiver<Ask>,
    /// Told once whether the port could be opened.
    pub opened: oneshot::Sender<Result<(), PortError>>,
    /// Polling begins when this comes.
    pub start: oneshot::Receiver<Start>,
    /// Ends the polling in order.
    pub stop: CancellationToken,
}

/// When polling begins and ends.
#[derive(Clone, Copy, Debug)]
pub struct Start {
    /// Its beginning is the first poll of every loop.
    pub clock: Clock,
    /// Polls due earlier than this after the beginning are not made: somebody else made them.
    pub from: Duration,
    /// Polls due this long after the beginning, or later, are not made.
    pub end: Option<Duration>,
}

impl Start {
    /// From the clock's beginning, and for ever.
    pub fn of(clock: Clock) -> Self {
        Self {
            clock,
            from: Duration::ZERO,
            end: None,
        }
    }
}

/// Every point of one loop, as `read` shows it.
#[derive(Clone, Debug)]
pub struct LoopSeen {
    /// The loop.
    pub name: Name,
    /// One for each point of the map, in its order.
    pub points: Vec<Seen>,
    /// What looks wrong about what came.
    pub remarks: Vec<Remark>,
    /// Why the blocks that did not come did not: what, where, what to do.
    pub failures: Vec<String>,
    /// Whether the unit answered at all, be it with a refusal.
    pub answered: bool,
    /// How the exchanges of this reading went.
    pub health: Health,
}

/// A point as `read` shows it.
#[derive(Clone, Debug)]
pub struct Seen {
    /// Its reading.
    pub reading: Reading,
    /// The words (or bits) that came; `None` when none came.
    pub raw: Option<Vec<u16>>,
    /// Its unit at this time.
    pub unit: Option<Arc<str>>,
}

impl Line {
    /// A line with the loops of `loops` that name it, and nothing opened yet.
    pub fn new(setup: &LineSetup, loops: &[LoopSetup], opener: Opener) -> Self {
        Self {
            name: setup.name.clone(),
            port: setup.port.clone(),
            answer_within: setup.answer_within,
            opener,
            pace: Pace::of(&setup.port),
            exchange: None,
            memory: Memory::default(),
            loops: loops
                .iter()
                .filter(|the_loop| the_loop.line == setup.name)
                .cloned()
                .collect(),
        }
    }

    /// The loops that hang on this line.
    pub fn loop_names(&self) -> impl Iterator<Item = &Name> {
        self.loops.iter().map(|the_loop| &the_loop.name)
    }

    /// Opens the port.
    ///
    /// # Errors
    /// The port is missing, taken, forbidden, or nobody listens at the address.
    pub async fn connect(&mut self) -> Result<(), PortError> {
        let Opened { wire, pace } = (self.opener)().await?;
        self.pace = pace;
        let memory = std::mem::take(&mut self.memory);
        self.exchange = Some(Exchange::new(wire, pace, self.answer_within).remembering(memory));
        Ok(())
    }

    /// The port is gone; what was asked through it may still be answered when it is back.
    fn disconnect(&mut self) {
        if let Some(exchange) = self.exchange.take() {
            self.memory = exchange.into_memory();
        }
    }

    /// Opens the port, waits for the clock, and polls until it is stopped; ends early when nobody
    /// listens any more. A port that could not be opened is tried again, if polling begins all the
    /// same.
    pub async fn run(mut self, ties: Ties) {
        let opened = self.connect().await;
        // Who gives up on a port that cannot be opened drops the start too.
        let _ = ties.opened.send(opened);
        if let Ok(start) = ties.start.await {
            run::Run::new(self, start, ties.out)
                .poll(ties.asks, ties.stop)
                .await;
        }
    }

    /// Reads every point of one loop once.
    pub async fn read_loop(&mut self, the_loop: &LoopSetup) -> LoopSeen {
        let began = Instant::now();
        let mut polling = Polling::new(the_loop, Stamp::default());
        let mut polled = self.read_points(&mut polling).await;
        // What a block was refused for may be had in others. Each round learns something.
        while polling.note_refusals(&polled.failed) {
            polled = self.read_points(&mut polling).await;
        }
        let (map, port) = (&the_loop.map, self.describe());
        let seen = |point: &Point| Seen {
            reading: map.read(point, &polled.image),
            raw: polled.image.raw(&point.place),
            unit: map.unit_of(point, &polled.image),
        };
        let explain = |(place, failure): &(Place, Failure)| {
            failure.explain(the_loop.unit, &port, *place, self.answer_within)
        };
        let refused = |(_, failure): &(Place, Failure)| matches!(failure, Failure::Refused(_));
        let since_began = Stamp {
            elapsed: began.elapsed(),
            ..Stamp::default()
        };
        LoopSeen {
            name: the_loop.name.clone(),
            health: polling.tally.health(the_loop.name.clone(), since_began),
            points: map.points.iter().map(seen).collect(),
            remarks: map.remarks(&polled.image),
            failures: polled.failed.iter().map(explain).collect(),
            answered: !polled.answered.is_empty() || polled.failed.iter().any(refused),
        }
    }

    async fn read_points(&mut self, polling: &mut Polling) -> Polled {
        let mut lengths = Lengths::default();
        polling.plan(self.pace, &mut Taken::default(), &mut lengths);
        polling.mark(&lengths);
        let blocks = polling.all_blocks();
        let late_at_most = polling.setup.map.access.late_at_most;
        let patience = Instant::now() + late_at_most + 2 * self.answer_within;
        match &mut self.exchange {
            Some(exchange) => read_scaled(exchange, polling, &blocks, patience).await.0,
            None => Polled::lost(&blocks),
        }
    }

    /// How long an answer may take.
    pub fn answer_within(&self) -> Duration {
        self.answer_within
    }

    /// The port as people say it.
    pub fn describe(&self) -> String {
        self.port.to_string()
    }
}
