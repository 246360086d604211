//! One task owns one line: port -> exchange -> plan -> poll. The only part that knows Modbus.
//!
//! [`Line::open`] opens the port and listens whether somebody else talks there. [`Line::run`] opens it,
//! says so, and then polls every loop on a fixed grid, sending one sample for every scheduled poll, good
//! or not; or fills the same rows with what another master reads ([`Manner`]).

mod exchange;
mod failure;
mod find;
mod frame;
mod givers;
mod identity;
mod once;
mod others;
mod plan;
mod poll;
mod polling;
mod port;
mod read_plan;
mod refusals;
mod run;
mod schedule;
mod sound;
mod tally;
mod trust;
mod walk;

use std::time::Duration;

use tokio::sync::{mpsc, oneshot};
use tokio::time::{Instant, timeout_at};
use tokio_util::sync::CancellationToken;

pub use failure::{Failure, exception_name};
pub use find::{
    Answer, Asking, Found, Identification, News, OpenAt, Outcome, Search, Sweep, USUAL_BAUDS,
    USUAL_FORMATS,
};
pub use identity::{PresentPort, lasting_identity, lasting_name, present_ports};
pub use once::{Came, LoopSeen, Seen};
pub use others::Manner;
pub use port::{Opened, Opener, Pace, PortError, Wire, opener};
pub use read_plan::{PlannedRead, ReadPlan};
pub use walk::{Step, Walk};

use crate::clock::Clock;
use crate::figures;
use crate::name::Name;
use crate::sample::{Entry, SettingsCause};
use crate::setup::{LineSetup, LoopSetup, Port, UnitId};
use exchange::{Exchange, Memory};
use frame::Framing;
use others::{Ear, first};

/// So long a line is listened to at most before its rows begin; maps may say that answers come later.
const LISTEN_IN: Duration = Duration::from_secs(3);

/// What a line can be asked for while it runs. What people ask goes before scheduled polls.
#[derive(Debug)]
pub enum Ask {
    /// Read the slow points of this loop at once and send them on.
    Settings(Name, SettingsCause),
    /// Read every point of this unit once; in words why that cannot be.
    Read(UnitId, oneshot::Sender<Result<Came, String>>),
}

/// One line and the loops that hang on it.
pub struct Line {
    name: Name,
    port: Port,
    answer_within: Duration,
    manner: Manner,
    opener: Opener,
    pace: Pace,
    exchange: Option<Exchange>,
    /// From before the port was lost.
    memory: Memory,
    /// What is known of others, while they are listened to.
    ear: Option<Ear>,
    loops: Vec<LoopSetup>,
}

/// What ties a running line to the rest of a session.
pub struct Ties {
    /// Where everything goes.
    pub out: mpsc::Sender<Entry>,
    /// What is asked of the line.
    pub asks: mpsc::Receiver<Ask>,
    /// What there is to say while the port is being opened.
    pub remarks: mpsc::UnboundedSender<String>,
    /// Told once whether the port could be opened, and nobody else talks there.
    pub opened: oneshot::Sender<Result<(), PortError>>,
    /// Polling begins when this comes.
    pub start: oneshot::Receiver<Start>,
    /// Ends the polling in order.
    pub stop: CancellationToken,
}

/// When polling begins and ends.
#[derive(Clone, Debug)]
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

impl Line {
    /// A line with the loops of `loops` that name it, and nothing opened yet.
    pub fn new(setup: &LineSetup, loops: &[LoopSetup], manner: Manner, opener: Opener) -> Self {
        Self {
            name: setup.name.clone(),
            port: setup.port.clone(),
            answer_within: setup.answer_within,
            manner,
            opener,
            pace: Pace::of(&setup.port),
            exchange: None,
            memory: Memory::default(),
            ear: None,
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

    /// Opens the port, and listens whether somebody else talks there. `tell` is given what there is to
    /// say meanwhile: that it listens, and what it makes of noise.
    ///
    /// # Errors
    /// The port is missing, taken, forbidden, or nobody listens at the address; or another master was
    /// heard.
    pub async fn open(&mut self, tell: &mut (dyn FnMut(String) + Send)) -> Result<(), PortError> {
        self.connect().await?;
        match self.manner {
            Manner::ListenFirst(listen_for) => self.listen_first(listen_for, tell).await?,
            Manner::ListenOnly => {
                tell(format!(
                    "listening only on {}: nothing is sent",
                    self.port.name()
                ));
                self.listen_in().await?;
            }
            Manner::Ask => {}
        }
        Ok(())
    }

    async fn listen_first(
        &mut self,
        listen_for: Duration,
        tell: &mut (dyn FnMut(String) + Send),
    ) -> Result<(), PortError> {
        let is_heard = self.pace.framing == Framing::Rtu && !listen_for.is_zero();
        let Some(exchange) = self.exchange.as_mut().filter(|_| is_heard) else {
            return Ok(());
        };
        let (at, time) = (self.port.name(), figures::wait(listen_for));
        tell(format!("listening for somebody else on {at} for {time}"));
        if let Some(noise) = first::listen(exchange, &self.port, listen_for).await? {
            tell(noise);
        }
        Ok(())
    }

    /// Listens until nothing can come any more that was asked before, so that the first row is whole.
    async fn listen_in(&mut self) -> Result<(), PortError> {
        let (Some(exchange), Some(ear)) = (&mut self.exchange, &mut self.ear) else {
            return Ok(());
        };
        let until = Instant::now() + LISTEN_IN;
        let mut came = Vec::new();
        while ear.knows_from() > Instant::now() {
            let waited = timeout_at(ear.knows_from().min(until), exchange.hear(&mut came)).await;
            match waited {
                Ok(heard) => {
                    heard.map_err(|error| PortError::lost(&self.port, &error.to_string()))?;
                }
                Err(_) => return Ok(()),
            }
            ear.take(&came, Instant::now());
            // Too early for any row.
            drop(ear.over_by(Instant::now()));
            came.clear();
        }
        Ok(())
    }

    async fn connect(&mut self) -> Result<(), PortError> {
        let Opened { wire, pace } = (self.opener)().await?;
        self.pace = pace;
        let memory = std::mem::take(&mut self.memory);
        self.exchange = Some(Exchange::new(wire, pace, self.answer_within).remembering(memory));
        let listens = self.manner == Manner::ListenOnly;
        self.ear = listens.then(|| Ear::of_loops(pace, self.answer_within, &self.loops));
        Ok(())
    }

    /// The port is gone; what was asked through it may still be answered when it is back.
    fn disconnect(&mut self) {
        if let Some(exchange) = self.exchange.take() {
            self.memory = exchange.into_memory();
        }
        self.ear = None;
    }

    /// Opens the port, waits for the clock, and polls until it is stopped; ends early when nobody
    /// listens any more. A port that could not be opened is tried again, if polling begins all the
    /// same.
    pub async fn run(mut self, ties: Ties) {
        let remarks = ties.remarks;
        // Whoever does not listen to remarks can do without.
        let opened = self.open(&mut |remark| drop(remarks.send(remark))).await;
        drop(remarks);
        // Who gives up on a port that cannot be opened drops the start too.
        let _ = ties.opened.send(opened);
        if let Ok(start) = ties.start.await {
            let listens = self.manner == Manner::ListenOnly;
            let run = run::Run::new(self, start, ties.out);
            if listens {
                run.hear(ties.asks, ties.stop).await;
            } else {
                run.poll(ties.asks, ties.stop).await;
            }
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
