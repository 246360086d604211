//! What may hurt somebody, as far as values show it, and what to do first.
//!
//! None of this protects anything; it only says what a person at the panel would see.

use std::sync::Arc;
use std::time::Duration;

use super::Finding;
use crate::heat::HeatWatch;
use crate::roles::Roles;
use crate::sample::{Happening, Sample, State};

/// A sensor fault that lasts so long is no glitch.
const BLIND_S: f64 = 5.0;
/// What was told is told again after it has not been so for this long.
const AGAIN_S: f64 = 600.0;

/// The kinds of danger that can be seen from the values.
#[derive(Clone, Copy, Debug, PartialEq, Eq)]
pub enum Peril {
    /// The sensor has failed, the output is on.
    HeatsBlind,
    /// Full output, and the process value does not move.
    NoResponse,
    /// No output, and the process value goes on rising.
    RisesUnheated,
}

impl Peril {
    /// All of them.
    pub const ALL: [Self; 3] = [Self::HeatsBlind, Self::NoResponse, Self::RisesUnheated];

    /// What is seen.
    pub fn what(self) -> &'static str {
        match self {
            Self::HeatsBlind => "the sensor has failed while the output is on",
            Self::NoResponse => "full output for 10 min, and the temperature does not rise",
            Self::RisesUnheated => "no output for 10 min, and the temperature still rises",
        }
    }

    /// What to do first.
    pub fn first(self) -> &'static str {
        match self {
            Self::HeatsBlind => "go to the oven and switch the heating off at its own switch",
            Self::NoResponse => "see that the sensor is in its place; then heater and contactor",
            Self::RisesUnheated => "switch the heating off at its isolator: a relay may be stuck",
        }
    }

    fn happening(self) -> Happening {
        match self {
            Self::HeatsBlind => Happening::HeatingWithoutSensor,
            Self::NoResponse => Happening::NoResponse,
            Self::RisesUnheated => Happening::HeatingWithoutOutput,
        }
    }
}

/// Follows one loop's samples and says which dangers they show.
#[derive(Clone, Debug)]
pub struct DangerWatch {
    roles: Roles,
    heat: HeatWatch,
    unit: Option<Arc<str>>,
    /// Of the latest sample.
    at_s: f64,
    output: Option<f64>,
    /// Since when the sensor is at a fault.
    faulty_since_s: Option<f64>,
}

impl DangerWatch {
    /// A watch over a loop that is polled so often.
    pub fn new(roles: Roles, every: Duration) -> Self {
        Self {
            roles,
            heat: HeatWatch::new(every.as_secs_f64()),
            unit: None,
            at_s: 0.0,
            output: None,
            faulty_since_s: None,
        }
    }

    /// Takes a sample of this loop in.
    pub fn on(&mut self, sample: &Sample) {
        self.at_s = sample.stamp.elapsed.as_secs_f64();
        self.output = self.roles.output(sample);
        self.faulty_since_s = match sample.state {
            State::Faulty => self.faulty_since_s.or(Some(self.at_s)),
            // Nothing came: nothing is known to have changed.
            State::Absent(_) => self.faulty_since_s,
            State::Good | State::Partial => None,
        };
        let (pv, setpoint) = (self.roles.pv(sample), self.roles.setpoint(sample));
        if pv.is_some() && self.output.is_some() {
            let unit = sample.units.get(self.roles.pv).cloned().flatten();
            if unit != self.unit {
                self.heat.forget();
                self.unit = unit;
            }
        }
        self.heat.take(self.at_s, pv, setpoint, self.output);
    }

    /// Whether it is so as of the latest sample.
    pub fn holds(&self, peril: Peril) -> bool {
        match peril {
            Peril::HeatsBlind => {
                let lasts = |since_s: f64| self.at_s - since_s >= BLIND_S;
                self.output.is_some_and(|output| output > 0.0)
                    && self.faulty_since_s.is_some_and(lasts)
            }
            Peril::NoResponse => self.heat.has_no_response(),
            Peril::RisesUnheated => self.heat.rises_unheated(),
        }
    }
}

/// Tells each danger once when it begins.
#[derive(Debug)]
pub(super) struct DangerNews {
    watch: DangerWatch,
    /// When each was so last.
    told_s: [Option<f64>; Peril::ALL.len()],
}

impl DangerNews {
    pub(super) fn new(roles: Roles, every: Duration) -> Self {
        Self {
            watch: DangerWatch::new(roles, every),
            told_s: [None; Peril::ALL.len()],
        }
    }

    pub(super) fn on(&mut self, sample: &Sample) -> Vec<Finding> {
        self.watch.on(sample);
        let at_s = self.watch.at_s;
        let mut findings = Vec::new();
        for (peril, told_s) in Peril::ALL.into_iter().zip(&mut self.told_s) {
            if !self.watch.holds(peril) {
                continue;
            }
            let is_new = told_s.is_none_or(|last_s| at_s - last_s > AGAIN_S);
            *told_s = Some(at_s);
            if is_new {
                let text = format!("{}; first {}", peril.what(), peril.first());
                findings.push((peril.happening(), text));
            }
        }
        findings
    }
}
