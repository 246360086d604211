//! What the screen is given, and what it gives back.

use std::time::Duration;

use chrono::{DateTime, FixedOffset, Local, Offset, Utc};
use tokio::sync::{broadcast, mpsc, watch};

use crate::clock::{Clock, Stamp};
use crate::map::{AutotuneHabit, Map, Role, Scaling, UnitOf};
use crate::name::Name;
use crate::roles::Roles;
use crate::sample::Entry;
use crate::setup::{LineSetup, LoopSetup};
use crate::signals::Signal;
use crate::unit::{Degrees, Quantity};

use super::look::Look;

/// What a screen shows besides the news.
#[derive(Clone, Debug)]
pub struct ScreenFacts {
    /// What is looked at, in a few words: the equipment, or the setup's name.
    pub title: String,
    /// The loops, in the order they are shown.
    pub loops: Vec<LoopFacts>,
    /// Whether the samples are recorded.
    pub recording: Recording,
    /// Whether nothing is asked: the values are those that another master reads.
    pub listens: bool,
    /// What goes on where this terminal is closed, and how to end it, for the help; often empty.
    pub goes_on: String,
    /// Colours and characters this terminal can show; [`Look::detect`].
    pub look: Look,
    /// Offset of local time from UTC at a moment; [`local_offset`] for this machine's.
    pub zone: Zone,
}

/// Everything a screen needs: what it shows, where news comes from, and where wishes go.
#[derive(Debug)]
pub struct Session {
    /// What it shows besides the news.
    pub screen: ScreenFacts,
    /// Samples and events as they happen. Whoever sends never waits for the screen.
    pub entries: broadcast::Receiver<Entry>,
    /// What the person at the screen asks for.
    pub asks: mpsc::Sender<Ask>,
    /// The time of the samples. Where samples run ahead of it (a simulation), they lead.
    pub clock: Clock,
    /// A story told along with the screen, for a demonstration.
    pub story: Option<watch::Receiver<Story>>,
    /// Of a recording that another process writes, whether it does.
    pub written: Option<watch::Receiver<Written>>,
}

/// Offset of local time from UTC at a moment.
pub type Zone = fn(DateTime<Utc>) -> FixedOffset;

/// What the screen says about one loop that no sample says.
#[derive(Clone, Debug, PartialEq)]
pub struct LoopFacts {
    /// Its name.
    pub name: Name,
    /// Unit of the process value; empty where it is not known yet.
    pub unit: String,
    /// How the degrees of each reading of a sample convert.
    pub quantities: Vec<Quantity>,
    /// Degrees around the setpoint that count as in band.
    pub band: Option<f64>,
    /// What its controller is called.
    pub controller: String,
    /// Decimals of the process value, where the map fixes them.
    pub decimals: Option<u32>,
    /// The line it hangs on, in a few words.
    pub line: String,
    /// One poll every so often.
    pub every: Duration,
    /// How its controller usually tunes itself, where the map says so.
    pub habit: Option<AutotuneHabit>,
    /// Which reading is which.
    pub roles: Roles,
}

/// Whether the samples on the screen are recorded, and by whom.
#[derive(Clone, Copy, Debug, PartialEq, Eq)]
pub enum Recording {
    /// Nothing is kept.
    No,
    /// This program records since then: leaving the screen ends it.
    Here(Stamp),
    /// The recording goes on when the screen is left.
    Elsewhere(Stamp),
}

/// Whether somebody writes the recording that is shown.
#[derive(Clone, Copy, Debug, Default, PartialEq, Eq)]
pub enum Written {
    /// Rows are added.
    #[default]
    Goes,
    /// Nothing was added after this moment, and the recording was not closed.
    Stopped(Stamp),
    /// It was closed in order at this moment.
    Closed(Stamp),
}

/// What the person at the screen asks for.
#[derive(Clone, Debug, PartialEq, Eq)]
pub enum Ask {
    /// A note on the time axis, now.
    Mark(String),
    /// The next part of the story.
    GoOn,
}

/// Where a story stands.
#[derive(Clone, Debug, Default, PartialEq, Eq)]
pub struct Story {
    /// What is happening, in a sentence or two.
    pub caption: String,
    /// What the `n` key does now; `None` while there is nothing to wait for.
    pub next: Option<String>,
}

/// How the screen was left.
#[derive(Clone, Copy, Debug, PartialEq, Eq)]
pub enum Ending {
    /// The person quit.
    Quit,
    /// A signal asked the program to end.
    Signal(Signal),
    /// The terminal is gone.
    TerminalGone,
    /// Another part of the program panicked; its message was printed.
    Panicked,
}

impl LoopFacts {
    /// The facts a setup gives.
    pub fn of(one: &LoopSetup, line: &LineSetup) -> Self {
        Self {
            name: one.name.clone(),
            unit: unit(&one.map),
            quantities: one.map.trend_points().map(|point| point.quantity).collect(),
            band: one.band,
            controller: one.map.title.clone(),
            decimals: decimals(&one.map),
            line: line_in_words(line),
            every: one.every,
            habit: one.map.autotune,
            roles: Roles::of(&one.map),
        }
    }
}

impl ScreenFacts {
    /// The same with temperatures shown in this unit, if any is asked for.
    #[must_use]
    pub fn shown_in(mut self, degrees: Option<Degrees>) -> Self {
        if let Some(degrees) = degrees {
            let loops = self.loops.into_iter();
            self.loops = loops.map(|one| one.shown_in(degrees)).collect();
        }
        self
    }
}

impl LoopFacts {
    /// The same with temperatures shown in this unit.
    #[must_use]
    pub fn shown_in(self, degrees: Degrees) -> Self {
        let own = Degrees::from_word(&self.unit);
        let is_temperature = own.is_some() || self.unit.is_empty();
        if !is_temperature {
            return self;
        }
        // A band whose unit is not known yet stays as it is written.
        let in_degrees = |band: f64| match own {
            Some(own) => own.convert_f64(band, degrees, Quantity::Difference),
            None => band,
        };
        Self {
            unit: degrees.word().to_owned(),
            band: self.band.map(in_degrees),
            ..self
        }
    }
}

/// Local time of this machine, daylight saving included.
pub fn local_offset(time: DateTime<Utc>) -> FixedOffset {
    time.with_timezone(&Local).offset().fix()
}

fn unit(map: &Map) -> String {
    let pv = map.points.iter().find(|p| p.role == Role::ProcessValue);
    match pv.map(|point| &point.unit) {
        Some(UnitOf::Fixed(unit)) => unit.to_string(),
        _ => String::new(),
    }
}

fn decimals(map: &Map) -> Option<u32> {
    let pv = map.points.iter().find(|p| p.role == Role::ProcessValue)?;
    match &pv.scaling {
        Scaling::Linear { scale, offset } => Some(scale.scale().max(offset.scale())),
        Scaling::Decimals(decimals) => Some(u32::from(*decimals)),
        Scaling::DecimalsFrom(_) => None,
    }
}

fn line_in_words(line: &LineSetup) -> String {
    let port = &line.port;
    let how = port.setting().unwrap_or_else(|| port.to_string());
    format!("{} {how}", line.name)
}
