//! Which units answer on a line whose settings nobody knows.
//!
//! Every unit number is asked for one register at every setting, likely ones first. Nothing is
//! written. A unit is found when a frame with a right checksum, of exactly the shape of an answer to
//! what was asked, carries its number: a value once, a refusal twice with the same code. Bytes that
//! come at a wrong setting have no right checksum.
//!
//! One answer settles the setting: the other unit numbers are asked there alone, unless all settings
//! are wanted. A slow unit is heard while somebody else is asked; then both are asked again with
//! more patience.

mod settings;
mod talk;

use std::collections::{HashSet, VecDeque};
use std::time::Duration;

use futures_util::future::BoxFuture;
use tokio::time::Instant;

pub use settings::{Search, USUAL_BAUDS, USUAL_FORMATS};

use super::others::first as others;
use super::{Opened, PortError};
use crate::setup::{Port, UnitId};
use settings::Visit;
use talk::{Probe, Talk};

/// Opens a port at a setting.
pub type OpenAt = Box<dyn FnMut(Port) -> BoxFuture<'static, Result<Opened, PortError>> + Send>;

/// A sweep over settings and unit numbers. Stopping it by dropping [`Sweep::run`]'s future keeps
/// what it found so far.
pub struct Sweep {
    search: Search,
    open_at: OpenAt,
    visits: VecDeque<Visit>,
    outcome: Outcome,
    has_listened: bool,
    has_opened: bool,
    /// When the first question was asked, and how much of the sweep's cost is behind us since.
    began: Option<Instant>,
    done: Duration,
}

/// What a sweep came to know.
#[derive(Clone, Debug, Default)]
pub struct Outcome {
    /// Units that answered, in the order they were found.
    pub found: Vec<Found>,
    /// Who sent something that was no sound frame, and at which setting.
    pub damaged: Vec<(Port, UnitId)>,
    /// Unit numbers and functions heard though nobody asked them.
    pub strangers: Vec<(u8, u8)>,
    /// What came before anything was asked and was no frame, in words.
    pub noise: Option<String>,
    /// Settings that could not be tried to their end.
    pub untried: Vec<(Port, PortError)>,
}

/// A unit that answered.
#[derive(Clone, Debug)]
pub struct Found {
    /// Its number.
    pub unit: UnitId,
    /// Where, and at which setting.
    pub port: Port,
    /// What came for each function that it answered.
    pub answers: Vec<(u8, Answer)>,
    /// How long it took from the end of a request to the end of its answer.
    pub took: Duration,
    /// What it says it is, where it says anything.
    pub identification: Option<Identification>,
}

/// What came for a read of one register.
#[derive(Clone, Copy, Debug, PartialEq, Eq)]
pub enum Answer {
    /// The register's word.
    Value(u16),
    /// A refusal with this exception code.
    Refused(u8),
}

/// What a unit says it is (function 43/14, basic); empty where it does not say.
#[derive(Clone, Debug, PartialEq, Eq, serde::Serialize)]
#[expect(missing_docs, reason = "the standard's own words")]
pub struct Identification {
    pub vendor: String,
    pub product: String,
    pub revision: String,
}

/// What happens while a sweep runs.
#[derive(Clone, Copy, Debug)]
pub enum News<'a> {
    /// Others are listened for, so long.
    Listening(&'a Port, Duration),
    /// A unit is about to be asked.
    Asking(Asking<'a>),
    /// A unit answered.
    Found(&'a Found),
}

/// How far a sweep has come.
#[derive(Clone, Copy, Debug)]
pub struct Asking<'a> {
    /// The setting.
    pub port: &'a Port,
    /// Who is asked now.
    pub unit: UnitId,
    /// Part of the whole that is done, 0 to 1.
    pub done: f64,
    /// Time left if nobody answers.
    pub left: Duration,
}

impl Sweep {
    /// A sweep that has not begun.
    pub fn new(search: Search, open_at: OpenAt) -> Self {
        Self {
            visits: search.visits().into(),
            search,
            open_at,
            outcome: Outcome::default(),
            has_listened: false,
            has_opened: false,
            began: None,
            done: Duration::ZERO,
        }
    }

    /// What it has found so far.
    pub fn outcome(&self) -> &Outcome {
        &self.outcome
    }

    /// How long it would take if nobody answered.
    pub fn longest(&self) -> Duration {
        self.left_after(Duration::ZERO)
    }

    /// Asks everybody.
    ///
    /// # Errors
    /// The port could be opened at no setting, or somebody else talks on the line.
    pub async fn run(&mut self, tell: &mut dyn FnMut(News<'_>)) -> Result<(), PortError> {
        while let Some(visit) = self.visits.pop_front() {
            let found_before = self.outcome.found.len();
            self.visit(&visit, tell).await?;
            if self.outcome.found.len() > found_before && !self.search.all_settings {
                self.visits.retain(|other| other.port == visit.port);
            }
        }
        match self.outcome.untried.first() {
            Some((_, error)) if !self.has_opened => Err(error.clone()),
            _ => Ok(()),
        }
    }

    async fn visit(
        &mut self,
        visit: &Visit,
        tell: &mut dyn FnMut(News<'_>),
    ) -> Result<(), PortError> {
        let Some(mut talk) = self.open(&visit.port, tell).await? else {
            return Ok(());
        };
        let mut waiting: VecDeque<UnitId> = visit.units.iter().copied().collect();
        let mut silent = HashSet::new();
        let mut lost_at = None;
        while let Some(unit) = waiting.pop_front() {
            tell(self.asking(&visit.port, unit, waiting.len()));
            match talk.probe(unit).await {
                Probe::Answers(answers) => self.found(&mut talk, visit, unit, answers, tell).await,
                Probe::Heard { unit: heard, .. }
                    if !talk.is_patient() && (heard == unit.get() || silent.contains(&heard)) =>
                {
                    talk.be_patient(self.search.answer_within);
                    waiting.push_front(unit);
                    if let Some(late) = UnitId::new(heard).filter(|late| *late != unit) {
                        waiting.push_front(late);
                    }
                    continue;
                }
                Probe::Lost(reason) => {
                    if lost_at.replace(unit) == Some(unit) {
                        self.give_up(&visit.port, &reason);
                        return Ok(());
                    }
                    waiting.push_front(unit);
                    let Some(again) = self.open(&visit.port, tell).await? else {
                        return Ok(());
                    };
                    talk = again;
                    continue;
                }
                nothing => {
                    self.note(&visit.port, unit, &nothing);
                    silent.insert(unit.get());
                }
            }
            self.done += self.search.cost(&visit.port);
        }
        Ok(())
    }

    /// Opens the port; a setting that the port does not take is noted and left out.
    async fn open(
        &mut self,
        port: &Port,
        tell: &mut dyn FnMut(News<'_>),
    ) -> Result<Option<Talk>, PortError> {
        match (self.open_at)(port.clone()).await {
            Ok(opened) => {
                self.has_opened = true;
                let mut talk = Talk::new(opened, self.search.answer_within);
                if !std::mem::replace(&mut self.has_listened, true) {
                    tell(News::Listening(port, self.search.listen_first));
                    self.listen(&mut talk, port).await?;
                }
                self.began.get_or_insert_with(Instant::now);
                Ok(Some(talk))
            }
            Err(error) => {
                self.outcome.untried.push((port.clone(), error));
                Ok(None)
            }
        }
    }

    /// Listens for somebody else before the first question. While the setting is not known, noise may
    /// be another master at another one.
    async fn listen(&mut self, talk: &mut Talk, port: &Port) -> Result<(), PortError> {
        let listen_for = self.search.listen_first;
        if listen_for.is_zero() {
            return Ok(());
        }
        let noise = others::listen(talk.exchange(), port, listen_for).await?;
        let is_setting_known = self.search.ports.len() == 1;
        match noise {
            Some(remark) if !is_setting_known => return Err(others::refusal_of_noise(remark)),
            noise => self.outcome.noise = noise,
        }
        Ok(())
    }

    fn give_up(&mut self, port: &Port, reason: &str) {
        let lost = PortError::lost(port, reason);
        self.outcome.untried.push((port.clone(), lost));
    }

    async fn found(
        &mut self,
        talk: &mut Talk,
        visit: &Visit,
        unit: UnitId,
        answers: Vec<(u8, Answer)>,
        tell: &mut dyn FnMut(News<'_>),
    ) {
        self.outcome.found.push(Found {
            unit,
            port: visit.port.clone(),
            answers,
            took: talk.took(),
            identification: None,
        });
        // Known before it is named: the sweep may be stopped meanwhile.
        let identification = talk.identify(unit).await;
        if let Some(found) = self.outcome.found.last_mut() {
            found.identification = identification;
            tell(News::Found(found));
        }
    }

    fn note(&mut self, port: &Port, unit: UnitId, nothing: &Probe) {
        match nothing {
            Probe::Damaged => self.outcome.damaged.push((port.clone(), unit)),
            Probe::Heard { unit, function } => {
                let stranger = (*unit, *function & 0x7F);
                if !self.outcome.strangers.contains(&stranger) {
                    self.outcome.strangers.push(stranger);
                }
            }
            Probe::Silent | Probe::Answers(_) | Probe::Lost(_) => {}
        }
    }

    fn asking<'a>(&self, port: &'a Port, unit: UnitId, waiting: usize) -> News<'a> {
        let left = self.left_after(self.search.cost(port) * (waiting as u32 + 1));
        let whole = (self.done + left).as_secs_f64();
        let done = self.done.as_secs_f64() / whole.max(f64::MIN_POSITIVE);
        // Gateways say quickly that nobody is there; slow units take longer.
        let took = self.began.map_or(Duration::ZERO, |began| began.elapsed());
        let pace = if self.done.is_zero() {
            1.0
        } else {
            took.as_secs_f64() / self.done.as_secs_f64()
        };
        News::Asking(Asking {
            port,
            unit,
            done,
            left: left.mul_f64(pace),
        })
    }

    /// What all visits to come cost, and `present`, the rest of this one.
    fn left_after(&self, present: Duration) -> Duration {
        let cost = |visit: &Visit| self.search.cost(&visit.port) * visit.units.len() as u32;
        present + self.visits.iter().map(cost).sum::<Duration>()
    }
}
