//! What is asked of a line while it is polled: between two scheduled polls, and before the next.

use std::time::Duration;

use tokio::time::Instant;

use super::{Gone, Run};
use crate::line::givers::read_scaled;
use crate::line::once::{Came, came};
use crate::line::poll::Polled;
use crate::line::tally::Tally;
use crate::line::{Ask, Failure};
use crate::map::Place;
use crate::setup::UnitId;

impl Run {
    pub(super) async fn answer(&mut self, ask: Ask) -> Result<(), Gone> {
        match ask {
            Ask::Settings(name, cause) => match self.loop_called(&name) {
                Some(index) => self.look_at_once(index, cause).await,
                None => Ok(()),
            },
            Ask::Read(unit, reply) => {
                let (came, failed) = self.read_unit(unit).await;
                // Whoever asked may have gone.
                let _ = reply.send(came);
                self.check_port(failed.iter().map(|(_, failure)| failure))
                    .await
            }
        }
    }

    /// Reads every block of every loop of a unit, in this line's own plan: in blocks of somebody
    /// else's a late answer could no longer be told from another's.
    async fn read_unit(&mut self, unit: UnitId) -> (Result<Came, String>, Vec<(Place, Failure)>) {
        let mut all: Option<Came> = None;
        let mut failed = Vec::new();
        for index in 0..self.loops.len() {
            if self.loops[index].setup.unit == unit {
                let (came, failures) = self.read_loop_now(index).await;
                failed.extend(failures);
                match &mut all {
                    Some(all) => all.absorb(came),
                    None => all = Some(came),
                }
            }
        }
        let port = self.line.describe();
        let none = || format!("no loop of unit {} is polled on {port}", unit.get());
        (all.ok_or_else(none), failed)
    }

    async fn read_loop_now(&mut self, index: usize) -> (Came, Vec<(Place, Failure)>) {
        let began = Instant::now();
        // The person is told of these exchanges; the line's health is that of its own polls.
        let own = std::mem::replace(&mut self.loops[index].tally, Tally::new());
        let mut polled = self.read_all_blocks(index).await;
        while self.loops[index].note_refusals(&polled.failed) {
            self.plan();
            polled = self.read_all_blocks(index).await;
        }
        let (port, within) = (self.line.describe(), self.line.answer_within);
        let polling = &mut self.loops[index];
        let unit = polling.setup.unit;
        let failures = polled
            .failed
            .iter()
            .map(|(place, failure)| failure.explain(unit, &port, *place, within))
            .collect();
        let failed = polled.failed.clone();
        let came = came(polling, polled, failures, began);
        polling.tally = own;
        (came, failed)
    }

    async fn read_all_blocks(&mut self, index: usize) -> Polled {
        let polling = &mut self.loops[index];
        let blocks = polling.all_blocks();
        let Some(exchange) = &mut self.line.exchange else {
            return Polled::lost(&blocks);
        };
        let late_at_most = polling.setup.map.access.late_at_most;
        let patience: Duration = late_at_most + 2 * self.line.answer_within;
        let until = Instant::now() + patience;
        let (polled, is_rescaled) = read_scaled(exchange, polling, &blocks, until).await;
        if is_rescaled {
            polling.look_at = Instant::now();
        }
        polled
    }
}

impl Came {
    /// Adds what another reading of the same unit gave.
    fn absorb(&mut self, more: Self) {
        self.image.absorb(more.image);
        self.failures.extend(more.failures);
        self.answered |= more.answered;
        let (all, more) = (&mut self.health, more.health);
        all.answered += more.answered;
        for (why, count) in more.lost {
            match all.lost.iter_mut().find(|(known, _)| *known == why) {
                Some((_, known)) => *known += count,
                None => all.lost.push((why, count)),
            }
        }
    }
}
