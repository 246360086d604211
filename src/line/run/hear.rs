//! Rows from what another master reads: nothing is sent.
//!
//! A row is made of what was heard between the time it is due and the time the next one is, and of each
//! point the first that came, as in a poll. It is told when everything that was begun until then is
//! decided. Points that the other master does not ask for are missing in it.

use std::future::pending;
use std::io;
use std::time::Duration;

use tokio::sync::mpsc;
use tokio::time::{Instant, sleep_until};
use tokio_util::sync::CancellationToken;

use super::{Gone, Run};
use crate::line::Ask;
use crate::line::exchange::Exchange;
use crate::line::others::{self, Ear, Overheard};
use crate::map::Image;
use crate::sample::{Reading, SettingsCause, Why};

/// The slow points are told when all of them were heard, or as many as came in this time.
const GATHER: Duration = Duration::from_secs(10);

/// What was heard of one loop and not told yet.
#[derive(Debug, Default)]
struct Heard {
    reads: Vec<Overheard>,
    /// The slow points as they were heard last.
    slow: Image,
    is_slow_new: bool,
}

impl Run {
    /// Fills the rows from what is heard until `stop`.
    pub(in crate::line) async fn hear(
        mut self,
        mut asks: mpsc::Receiver<Ask>,
        stop: CancellationToken,
    ) {
        let mut heard: Vec<Heard> = self.loops.iter().map(|_| Heard::default()).collect();
        // A gone listener ends the line as a stop does, with nobody left to tell.
        let _ = self.hear_on(&mut heard, &mut asks, &stop).await;
        let _ = self.hear_out(&mut heard).await;
    }

    async fn hear_on(
        &mut self,
        heard: &mut [Heard],
        asks: &mut mpsc::Receiver<Ask>,
        stop: &CancellationToken,
    ) -> Result<(), Gone> {
        self.tell_missing_port().await?;
        let mut came = Vec::new();
        while self.loops.iter().any(|polling| self.is_left(polling)) {
            let wake = self.wakes_at(heard);
            tokio::select! {
                biased;
                () = stop.cancelled() => break,
                Some(ask) = asks.recv() => self.answer_unasking(ask, heard),
                read = next_bytes(&mut self.line.exchange, &mut came) => if let Err(lost) = read {
                    self.settle(heard, Ear::finish);
                    self.lose_port(&lost.to_string()).await?;
                },
                () = self.changes.seen() => {}
                () = sleep_until(wake) => {}
            }
            self.clock.look();
            let now = Instant::now();
            if let Some(ear) = &mut self.line.ear {
                ear.take(&came, now);
                came.clear();
            }
            self.settle(heard, |ear| ear.over_by(now));
            self.tell_all(heard).await?;
            if self.line.exchange.is_none() {
                self.try_reopen().await?;
            }
            self.tell_health(false).await?;
        }
        Ok(())
    }

    /// The rest: rows that are over, the one that has begun if anything came for it, and the slow
    /// points as they were heard last.
    async fn hear_out(&mut self, heard: &mut [Heard]) -> Result<(), Gone> {
        self.settle(heard, Ear::finish);
        self.tell_all(heard).await?;
        for (index, heard) in heard.iter_mut().enumerate() {
            if self.is_left(&self.loops[index]) && !heard.reads.is_empty() {
                self.tell_row(index, heard).await?;
            }
            self.loops[index].wanted = Some(SettingsCause::End);
            self.tell_slow(index, heard).await?;
        }
        self.tell_health(true).await
    }

    /// Gives the loops what is decided.
    fn settle(&mut self, heard: &mut [Heard], decided: impl FnOnce(&mut Ear) -> Vec<Overheard>) {
        let reads = self.line.ear.as_mut().map(decided).unwrap_or_default();
        for read in reads {
            let loops = self.loops.iter_mut().zip(heard.iter_mut());
            for (polling, heard) in loops.filter(|(polling, _)| polling.setup.unit == read.unit) {
                read.count_in(&mut polling.tally);
                heard.is_slow_new |= others::put_latest(&mut heard.slow, &polling.setup.map, &read);
                heard.reads.push(read.clone());
            }
        }
    }

    /// When something is to be done, if nothing comes.
    fn wakes_at(&self, heard: &[Heard]) -> Instant {
        let now = Instant::now();
        let rows = self.loops.iter().filter(|polling| self.is_left(polling));
        let rows = rows.map(|polling| polling.grid.deadline(&self.clock));
        let waits = self
            .loops
            .iter()
            .zip(heard)
            .filter(|(_, heard)| heard.is_slow_new);
        let slow = waits.map(|(polling, _)| polling.look_at + GATHER);
        let decides = self.line.ear.as_ref().and_then(Ear::settles_at);
        let reopens = self.line.exchange.is_none().then_some(self.reopen.at);
        // A row whose time is over waits for what is undecided.
        let times = rows.chain(slow).filter(|at| *at > now);
        let times = times.chain(decides).chain(reopens);
        times
            .min()
            .map_or(self.health_at, |at| at.min(self.health_at))
    }

    async fn tell_all(&mut self, heard: &mut [Heard]) -> Result<(), Gone> {
        for (index, heard) in heard.iter_mut().enumerate() {
            while self.is_row_over(index) {
                self.tell_row(index, heard).await?;
            }
            if heard.is_slow_new {
                self.tell_slow(index, heard).await?;
            }
        }
        Ok(())
    }

    /// Whether the time of a loop's next row is over, and everything in it decided.
    fn is_row_over(&self, index: usize) -> bool {
        let polling = &self.loops[index];
        let end = polling.grid.deadline(&self.clock);
        let undecided = self.line.ear.as_ref().and_then(Ear::undecided_since);
        let is_decided = undecided.is_none_or(|since| since >= end);
        self.is_left(polling) && Instant::now() >= end && is_decided
    }

    async fn tell_row(&mut self, index: usize, heard: &mut Heard) -> Result<(), Gone> {
        let grid = &mut self.loops[index].grid;
        let (began, end) = (self.clock.instant(grid.due()), grid.deadline(&self.clock));
        let due = grid.take(&self.clock);
        let later = heard.reads.iter().position(|read| read.at >= end);
        let reads = heard.reads.drain(..later.unwrap_or(heard.reads.len()));
        let reads: Vec<Overheard> = reads.collect();
        if reads.is_empty() {
            let why = self.why_unheard(index, due.elapsed, began);
            return self.send_absent(index, due, why).await;
        }
        let polled = others::row(&self.loops[index].setup.map, &reads);
        self.send_sample(index, due, &polled).await
    }

    /// Why no read of a loop's unit was heard for the poll that was due then.
    fn why_unheard(&self, index: usize, due: Duration, since: Instant) -> Why {
        let every = self.loops[index].setup.every;
        if self.clock.was_away(due, due + every) {
            return Why::NotRunning;
        }
        let unit = self.loops[index].setup.unit.get();
        match &self.line.ear {
            None => Why::PortLost,
            Some(ear) if ear.census().heard_only_others(unit, since) => Why::Foreign,
            Some(_) => Why::NoAnswer,
        }
    }

    fn answer_unasking(&mut self, ask: Ask, heard: &mut [Heard]) {
        match ask {
            Ask::Settings(name, cause) => {
                if let Some(index) = self.loop_called(&name) {
                    self.want_slow(index, cause, &mut heard[index]);
                }
            }
            Ask::Read(_, reply) => {
                let port = self.line.describe();
                // Whoever asked may have gone.
                let _ = reply.send(Err(format!("{port} is only listened to, nothing is asked")));
            }
        }
    }

    /// From now on the slow points are wanted, as they are heard from now on.
    fn want_slow(&mut self, index: usize, cause: SettingsCause, heard: &mut Heard) {
        let polling = &mut self.loops[index];
        polling.wanted = Some(cause);
        polling.look_at = Instant::now();
        heard.slow = Image::default();
        heard.is_slow_new = false;
    }

    async fn tell_slow(&mut self, index: usize, heard: &mut Heard) -> Result<(), Gone> {
        let polling = &mut self.loops[index];
        polling.take_units(&heard.slow);
        let map = polling.setup.map.clone();
        let readings: Vec<Reading> = map
            .settings_points()
            .map(|point| map.read(point, &heard.slow))
            .collect();
        let is_whole = !readings.iter().any(|it| matches!(it, Reading::Absent(_)));
        let may_grow = match polling.wanted {
            None | Some(SettingsCause::End) => false,
            Some(_) => !is_whole,
        };
        if may_grow && Instant::now() < polling.look_at + GATHER {
            return Ok(());
        }
        heard.is_slow_new = false;
        match polling.worth_telling(&readings) {
            Some(cause) => self.send_settings(index, cause, readings).await,
            None => Ok(()),
        }
    }
}

/// Waits for ever while there is no port.
async fn next_bytes(exchange: &mut Option<Exchange>, into: &mut Vec<u8>) -> io::Result<()> {
    match exchange {
        Some(exchange) => exchange.hear(into).await,
        None => pending().await,
    }
}
