//! The units on one wire.

use std::collections::BTreeMap;
use std::sync::{Arc, Mutex, MutexGuard, PoisonError};

use tokio::time::Instant;

use super::Timing;
use super::answer::answer;
use super::faults::{Faults, Sending};
use super::master::{Asking, Master};
use crate::oven::Oven;
use crate::panel::Panel;
use crate::registers::Layout;
use crate::registers::counter::Counter;

/// Unit number to which every unit listens and none answers.
const BROADCAST: u8 = 0;

/// A controller on the wire.
#[derive(Clone, Debug)]
pub struct Unit {
    number: u8,
    layout: &'static dyn Layout,
    panel: Panel,
    /// Until when it hears nothing.
    rests_until: Arc<Mutex<Option<Instant>>>,
}

impl Unit {
    /// The oven behind `panel`, reachable under `number`, its registers laid out as `layout` says.
    pub fn new(number: u8, layout: &'static dyn Layout, panel: Panel) -> Self {
        Self {
            number,
            layout,
            panel,
            rests_until: Arc::default(),
        }
    }

    /// Its unit number.
    pub fn number(&self) -> u8 {
        self.number
    }

    /// Its layout.
    pub fn layout(&self) -> &'static dyn Layout {
        self.layout
    }

    /// The person's hand on it.
    pub fn panel(&self) -> &Panel {
        &self.panel
    }

    /// Nothing while it rests: the request is missed.
    fn answer(&self, request: &[u8]) -> Option<Vec<u8>> {
        let now = Instant::now();
        if self.rests_until().is_some_and(|until| now < until) {
            return None;
        }
        self.rest(request, now);
        let act = |oven: &mut Oven| answer(self.layout, &mut oven.controller, request);
        Some(self.panel.with(act))
    }

    /// Its answer to `request` is out at `out`: from then on it rests, if it is one that must.
    fn rest(&self, request: &[u8], out: Instant) {
        let rest = match request.first() {
            Some(5 | 6 | 15 | 16) => self.layout.rest_after_write(),
            _ => self.layout.rest(),
        };
        if !rest.is_zero() {
            *self.rests_until() = Some(out + rest);
        }
    }

    fn rests_until(&self) -> MutexGuard<'_, Option<Instant>> {
        self.rests_until
            .lock()
            .unwrap_or_else(PoisonError::into_inner)
    }
}

/// All units on a wire, and how fast they are.
#[derive(Clone, Debug)]
pub struct Bus {
    units: Vec<Unit>,
    counters: BTreeMap<u8, Counter>,
    masters: Vec<Master>,
    /// How long an answer takes.
    pub timing: Timing,
    /// What goes wrong; shared by all who are connected to this wire.
    faults: Option<Arc<Mutex<Faults>>>,
}

impl Bus {
    /// These units, answering at once.
    pub fn new(units: Vec<Unit>) -> Self {
        Self {
            units,
            counters: BTreeMap::new(),
            masters: Vec::new(),
            timing: Timing::default(),
            faults: None,
        }
    }

    /// The same units on a wire where this goes wrong.
    #[must_use]
    pub fn with_faults(mut self, faults: Faults) -> Self {
        self.faults = Some(Arc::new(Mutex::new(faults)));
        self
    }

    /// The same wire with one more unit on it, which is no controller.
    #[must_use]
    pub fn with_counter(mut self, number: u8, counter: Counter) -> Self {
        self.counters.insert(number, counter);
        self
    }

    /// The same wire with another master on it, which polls for as long as the wire is served. Masters
    /// do not wait for each other.
    #[must_use]
    pub fn with_master(mut self, master: Master) -> Self {
        self.masters.push(master);
        self
    }

    /// Its masters, from now on.
    pub(super) fn masters(&self) -> Vec<Asking<'_>> {
        self.masters.iter().map(Asking::begin).collect()
    }

    /// What is put on the wire for this request and its answer, whole frames both.
    pub(super) fn sendings(&self, request: &[u8], answer: Vec<u8>) -> Vec<Sending> {
        match &self.faults {
            Some(faults) => {
                let mut faults = faults.lock().unwrap_or_else(PoisonError::into_inner);
                faults.sendings(request, answer)
            }
            None => vec![Sending::at_once(answer)],
        }
    }

    /// The units on it.
    pub fn units(&self) -> &[Unit] {
        &self.units
    }

    /// The answer of `unit` to `request`, which took its time on the wire, is out at `out`.
    pub(super) fn answered(&self, unit: u8, request: &[u8], out: Instant) {
        for answering in self.units.iter().filter(|other| other.number == unit) {
            answering.rest(request, out);
        }
    }

    /// What `unit` answers to `request` (both without unit number and check): `None` if there is no
    /// such unit, if it is resting, or if it is meant for all, who obey and keep silent.
    pub fn answer(&self, unit: u8, request: &[u8]) -> Option<Vec<u8>> {
        if unit == BROADCAST {
            for unit in &self.units {
                unit.answer(request);
            }
            return None;
        }
        let answer = match self.units.iter().find(|other| other.number == unit) {
            Some(controller) => controller.answer(request)?,
            None => self.counters.get(&unit)?.answer(request),
        };
        Some(answer).filter(|answer| !answer.is_empty())
    }
}
