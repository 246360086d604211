//! Every point of a loop once: asked for, or heard while another master asks.

use std::sync::Arc;
use std::time::Duration;

use tokio::time::{Instant, timeout_at};

use super::givers::read_scaled;
use super::others::{self, Overheard};
use super::plan::{Lengths, Taken};
use super::poll::Polled;
use super::polling::Polling;
use super::{Failure, Line};
use crate::clock::Stamp;
use crate::map::{Image, Place, Point, Remark};
use crate::name::Name;
use crate::sample::{Health, Reading};
use crate::setup::LoopSetup;

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

/// What reading a unit once gave, as it came from the line.
#[derive(Clone, Debug, serde::Serialize, serde::Deserialize)]
pub struct Came {
    /// The words.
    pub image: Image,
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
    /// Reads every point of one loop once.
    pub async fn read_loop(&mut self, the_loop: &LoopSetup) -> LoopSeen {
        let began = Instant::now();
        let mut polling = Polling::new(the_loop, Stamp::default());
        let mut polled = self.read_points(&mut polling).await;
        // What a block was refused for may be had in others. Each round learns something.
        while polling.note_refusals(&polled.failed) {
            polled = self.read_points(&mut polling).await;
        }
        let port = self.describe();
        let explain = |(place, failure): &(Place, Failure)| {
            failure.explain(the_loop.unit, &port, *place, self.answer_within)
        };
        let failures = polled.failed.iter().map(explain).collect();
        LoopSeen::of(the_loop, came(&polling, polled, failures, began))
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

    /// Takes every loop of this line from what another master reads, until every trend point was
    /// heard, or for `listen_for`.
    pub async fn overhear(&mut self, listen_for: Duration) -> Vec<LoopSeen> {
        let began = Instant::now();
        let mut loops: Vec<Listened> = self.loops.iter().map(Listened::new).collect();
        let lost = self.listen_until(&mut loops, began + listen_for).await;
        let port = self.describe();
        let tell = |listened: &Listened| {
            let unit = listened.polling.setup.unit;
            let failures = match (&lost, &self.ear) {
                (None, Some(ear)) => {
                    let heard = others::Heard {
                        port: &port,
                        census: ear.census(),
                        lasted: began.elapsed(),
                    };
                    heard.lacks(unit, &listened.polling.setup.map, &listened.overheard)
                }
                (reason, _) => {
                    let reason = reason.clone().unwrap_or_else(|| "not open".to_owned());
                    let place = listened.polling.setup.map.points[0].place;
                    let lost = Failure::PortLost(reason);
                    vec![lost.explain(unit, &port, place, self.answer_within)]
                }
            };
            let polled = others::polled(&listened.polling.setup.map, &listened.overheard);
            let came = came(&listened.polling, polled, failures, began);
            LoopSeen::of(&listened.polling.setup, came)
        };
        loops.iter().map(tell).collect()
    }

    /// Gives the system's words if the port was lost.
    async fn listen_until(&mut self, loops: &mut [Listened], until: Instant) -> Option<String> {
        let (Some(exchange), Some(ear)) = (&mut self.exchange, &mut self.ear) else {
            return Some("not open".to_owned());
        };
        let mut came = Vec::new();
        loop {
            let now = Instant::now();
            ear.take(&came, now);
            came.clear();
            for one in ear.over_by(now) {
                let of_unit = |listened: &&mut Listened| listened.polling.setup.unit == one.unit;
                for listened in loops.iter_mut().filter(of_unit) {
                    one.count_in(&mut listened.polling.tally);
                    listened.overheard.push(one.clone());
                }
            }
            if now >= until || loops.iter().all(Listened::is_whole) {
                return None;
            }
            let wake = ear.settles_at().map_or(until, |at| at.min(until));
            if let Ok(Err(lost)) = timeout_at(wake, exchange.hear(&mut came)).await {
                return Some(lost.to_string());
            }
        }
    }
}

/// What was heard of one loop.
struct Listened {
    polling: Polling,
    overheard: Vec<Overheard>,
}

impl Listened {
    fn new(the_loop: &LoopSetup) -> Self {
        Self {
            polling: Polling::new(the_loop, Stamp::default()),
            overheard: Vec::new(),
        }
    }

    /// Whether every trend point was heard.
    fn is_whole(&self) -> bool {
        let map = &self.polling.setup.map;
        let polled = others::polled(map, &self.overheard);
        let is_there =
            |point: &Point| !matches!(map.read(point, &polled.image), Reading::Absent(_));
        map.trend_points().all(is_there)
    }
}

impl LoopSeen {
    /// The points of a loop in what came from its unit.
    pub fn of(the_loop: &LoopSetup, came: Came) -> Self {
        let Came {
            image,
            failures,
            answered,
            health,
        } = came;
        let map = &the_loop.map;
        let seen = |point: &Point| Seen {
            reading: map.read(point, &image),
            raw: image.raw(&point.place),
            unit: map.unit_of(point, &image),
        };
        Self {
            name: the_loop.name.clone(),
            points: map.points.iter().map(seen).collect(),
            remarks: map.remarks(&image),
            failures,
            answered,
            health: Health {
                of: the_loop.name.clone(),
                ..health
            },
        }
    }
}

/// What a reading that began then gave.
pub(super) fn came(
    polling: &Polling,
    polled: Polled,
    failures: Vec<String>,
    began: Instant,
) -> Came {
    let refused = |(_, failure): &(Place, Failure)| matches!(failure, Failure::Refused(_));
    let since_began = Stamp {
        elapsed: began.elapsed(),
        ..Stamp::default()
    };
    Came {
        health: polling
            .tally
            .health(polling.setup.name.clone(), since_began),
        failures,
        answered: !polled.answered.is_empty() || polled.failed.iter().any(refused),
        image: polled.image,
    }
}
