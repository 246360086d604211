//! What may hurt somebody, as far as values show it, and what to do first.
//!
//! The limits below are common practice, no source: they are chosen so that a sound oven does not
//! reach them. None of this protects anything; it only says what a person at the panel would see.

use std::collections::VecDeque;
use std::sync::Arc;
use std::time::Duration;

use super::Finding;
use crate::roles::Roles;
use crate::sample::{Happening, Sample, State};

/// A sensor fault that lasts so long is no glitch.
const BLIND_S: f64 = 5.0;
/// Full output for so long must show.
const RESPONSE_S: f64 = 600.0;
const FULL_PCT: f64 = 95.0;
/// What "must show" means, in degrees.
const RESPONSE: f64 = 1.0;
/// So long after the output went to 0 the heat that is still on its way has arrived.
const COAST_S: f64 = 600.0;
/// What "still rises" means: so much within so long.
const RISE: f64 = 1.0;
const RISE_S: f64 = 300.0;
/// What was told is told again after it has not been so for this long.
const AGAIN_S: f64 = 600.0;
/// Values are averaged over so long, and over so many polls, so that noise is no rise.
const STRETCH_S: f64 = 30.0;
const STRETCH_POLLS: f64 = 5.0;
/// So many polls in a row may bring nothing; beyond them nobody knows what happened meanwhile.
const FEW_POLLS: f64 = 5.0;

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
    every_s: f64,
    /// The latest ten minutes and a bit, oldest first.
    stretches: VecDeque<Stretch>,
    /// When the latest value came.
    last_s: f64,
    unit: Option<Arc<str>>,
    latest: Latest,
    /// Since when the sensor is at a fault.
    faulty_since_s: Option<f64>,
}

/// What a loop's latest sample says.
#[derive(Clone, Copy, Debug, Default)]
struct Latest {
    at_s: f64,
    off_by: Option<f64>,
    output: Option<f64>,
}

/// A few polls.
#[derive(Clone, Copy, Debug)]
struct Stretch {
    began_s: f64,
    polls: u32,
    pv_sum: f64,
    output_min: f64,
    output_max: f64,
}

impl DangerWatch {
    /// A watch over a loop that is polled so often.
    pub fn new(roles: Roles, every: Duration) -> Self {
        Self {
            roles,
            every_s: every.as_secs_f64(),
            stretches: VecDeque::new(),
            last_s: 0.0,
            unit: None,
            latest: Latest::default(),
            faulty_since_s: None,
        }
    }

    /// Takes a sample of this loop in.
    pub fn on(&mut self, sample: &Sample) {
        let at_s = sample.stamp.elapsed.as_secs_f64();
        let (pv, output) = (self.roles.pv(sample), self.roles.output(sample));
        let setpoint = self.roles.setpoint(sample);
        self.latest = Latest {
            at_s,
            off_by: pv.zip(setpoint).map(|(pv, setpoint)| pv - setpoint),
            output,
        };
        self.faulty_since_s = match sample.state {
            State::Faulty => self.faulty_since_s.or(Some(at_s)),
            // Nothing came: nothing is known to have changed.
            State::Absent(_) => self.faulty_since_s,
            State::Good | State::Partial => None,
        };
        if let Some((pv, output)) = pv.zip(output) {
            self.take(at_s, pv, output, sample.units.get(self.roles.pv));
        }
    }

    /// Whether it is so as of the latest sample.
    pub fn holds(&self, peril: Peril) -> bool {
        let Some(output) = self.latest.output else {
            return false;
        };
        match peril {
            Peril::HeatsBlind => {
                let lasts = |since_s: f64| self.latest.at_s - since_s >= BLIND_S;
                output > 0.0 && self.faulty_since_s.is_some_and(lasts)
            }
            Peril::NoResponse => {
                output >= FULL_PCT
                    && self.latest.off_by.is_some_and(|off| off < -RESPONSE)
                    && self
                        .over(RESPONSE_S)
                        .is_some_and(|(rise, least, _)| least >= FULL_PCT && rise < RESPONSE)
            }
            Peril::RisesUnheated => {
                output <= 0.0
                    && self.over(COAST_S).is_some_and(|(_, _, most)| most <= 0.0)
                    && self.over(RISE_S).is_some_and(|(rise, ..)| rise >= RISE)
            }
        }
    }

    fn take(&mut self, at_s: f64, pv: f64, output: f64, unit: Option<&Option<Arc<str>>>) {
        let unit = unit.cloned().flatten();
        let is_lost = at_s - self.last_s > FEW_POLLS * self.every_s + 1.0;
        if is_lost || unit != self.unit {
            self.stretches.clear();
            self.unit = unit;
        }
        self.last_s = at_s;
        let length_s = STRETCH_S.max(STRETCH_POLLS * self.every_s);
        match self.stretches.back_mut() {
            Some(last) if at_s < last.began_s + length_s => last.take(pv, output),
            _ => self.stretches.push_back(Stretch::new(at_s, pv, output)),
        }
        let from_s = at_s - RESPONSE_S.max(COAST_S);
        while self.stretches.get(1).is_some_and(|it| it.began_s <= from_s) {
            self.stretches.pop_front();
        }
    }

    /// Over the last `seconds`: how much the process value rose, and the least and the most output;
    /// `None` where less is known.
    fn over(&self, seconds: f64) -> Option<(f64, f64, f64)> {
        let from_s = self.last_s - seconds;
        let first = self.stretches.iter().rposition(|it| it.began_s <= from_s)?;
        let known = || self.stretches.range(first..);
        let least = known()
            .map(|it| it.output_min)
            .fold(f64::INFINITY, f64::min);
        let most = known().map(|it| it.output_max).fold(0.0, f64::max);
        // The present stretch may be one poll: with the one before it noise is no rise.
        let (polls, sum) = known().rev().take(2).fold((0, 0.0), |(polls, sum), it| {
            (polls + it.polls, sum + it.pv_sum)
        });
        let before = self.stretches.get(first)?;
        let rise = sum / f64::from(polls) - before.pv_sum / f64::from(before.polls);
        Some((rise, least, most))
    }
}

impl Stretch {
    fn new(began_s: f64, pv: f64, output: f64) -> Self {
        Self {
            began_s,
            polls: 1,
            pv_sum: pv,
            output_min: output,
            output_max: output,
        }
    }

    fn take(&mut self, pv: f64, output: f64) {
        self.polls += 1;
        self.pv_sum += pv;
        self.output_min = self.output_min.min(output);
        self.output_max = self.output_max.max(output);
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
        let at_s = self.watch.latest.at_s;
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
