//! A line that is being polled: whose turn it is, what is read, what is sent on. And the same rows
//! from what another master reads ([`hear`]).

mod asked;
mod hear;

use std::collections::HashMap;
use std::time::Duration;

use tokio::sync::mpsc;
use tokio::time::Instant;
use tokio_util::sync::CancellationToken;

use super::exchange::Exchange;
use super::givers::read_scaled;
use super::plan::{Lengths, Taken};
use super::poll::{Polled, absent, read_blocks, sample};
use super::polling::Polling;
use super::schedule::Turn;
use super::{Ask, Failure, Line, Start};
use crate::clock::{Changes, Clock, Stamp};
use crate::name::Name;
use crate::sample::{Entry, Event, Happening, Reading, Settings, SettingsCause, Why};
use crate::setup::UnitId;

/// Reopening a lost port begins after this and backs off to [`REOPEN_AT_MOST`].
const REOPEN_FIRST: Duration = Duration::from_millis(250);
const REOPEN_AT_MOST: Duration = Duration::from_secs(2);
/// A look at the slow points waits so long for idle time before it takes some.
const LOOK_WAITS: Duration = Duration::from_secs(5);
/// How often the line's health is told.
const HEALTH_EVERY: Duration = Duration::from_secs(10);

/// A line that is being polled.
pub(super) struct Run {
    line: Line,
    clock: Clock,
    /// Wakes it when it sleeps by a timer that does not know how long the machine slept.
    changes: Changes,
    end: Option<Duration>,
    out: mpsc::Sender<Entry>,
    reopen: Reopen,
    health_at: Instant,
    loops: Vec<Polling>,
}

/// When the next attempt to reopen the port may be made.
struct Reopen {
    at: Instant,
    pause: Duration,
}

/// What the line does next.
enum Next {
    /// A scheduled poll of this loop, not before then.
    Poll(usize, Instant),
    /// One block of this loop's slow points, now.
    Look(usize),
}

/// Nobody listens any more: the line ends.
#[derive(Debug)]
struct Gone;

impl Run {
    pub(super) fn new(
        line: Line,
        Start { clock, from, end }: Start,
        out: mpsc::Sender<Entry>,
    ) -> Self {
        let loops = line
            .loops
            .iter()
            .map(|the_loop| Polling::new(the_loop, clock.at(from)))
            .collect();
        let now = Instant::now();
        let reopen = Reopen {
            at: now,
            pause: REOPEN_FIRST,
        };
        let mut run = Self {
            line,
            changes: clock.changes(),
            clock,
            end,
            out,
            reopen,
            health_at: now + HEALTH_EVERY,
            loops,
        };
        run.plan();
        run
    }

    /// Polls until `stop`; at the end reads the slow points once more.
    pub(super) async fn poll(mut self, mut asks: mpsc::Receiver<Ask>, stop: CancellationToken) {
        // A gone listener ends the line as a stop does, with nobody left to tell.
        let _ = self.poll_from_the_start(&mut asks, &stop).await;
        let _ = self.close().await;
    }

    async fn poll_from_the_start(
        &mut self,
        asks: &mut mpsc::Receiver<Ask>,
        stop: &CancellationToken,
    ) -> Result<(), Gone> {
        self.tell_missing_port().await?;
        self.poll_on(asks, stop).await
    }

    async fn tell_missing_port(&mut self) -> Result<(), Gone> {
        if self.line.exchange.is_some() {
            return Ok(());
        }
        let (name, port) = (&self.line.name, self.line.describe());
        let text = format!("line {name}: {port} cannot be opened; it is tried again and again");
        self.send_event(Happening::PortLost, text).await
    }

    async fn poll_on(
        &mut self,
        asks: &mut mpsc::Receiver<Ask>,
        stop: &CancellationToken,
    ) -> Result<(), Gone> {
        while let Some(next) = self.next() {
            let start = match next {
                Next::Poll(_, start) => start,
                Next::Look(_) => Instant::now(),
            };
            tokio::select! {
                biased;
                () = stop.cancelled() => break,
                Some(ask) = asks.recv() => self.answer(ask).await?,
                () = self.changes.seen() => {}
                idle = idle(&mut self.line.exchange, start) => match (idle, next) {
                    // A late answer may have set its unit free.
                    (Ok(()), _) if Instant::now() < start => {}
                    (Ok(()), Next::Poll(index, _)) => self.turn(index).await?,
                    (Ok(()), Next::Look(index)) => self.look_on(index).await?,
                    (Err(failure), _) => self.check_port([&failure]).await?,
                },
            }
            self.tell_health(false).await?;
        }
        Ok(())
    }

    async fn close(&mut self) -> Result<(), Gone> {
        for index in 0..self.loops.len() {
            if !self.loops[index].is_silent() {
                self.look_at_once(index, SettingsCause::End).await?;
            }
        }
        self.tell_health(true).await
    }

    /// Plans every loop's blocks, so that no two of one unit have the same length.
    fn plan(&mut self) {
        let mut units: HashMap<UnitId, (Taken, Lengths)> = HashMap::new();
        for polling in &mut self.loops {
            let (taken, lengths) = units.entry(polling.setup.unit).or_default();
            polling.plan(self.line.pace, taken, lengths);
        }
        for polling in &mut self.loops {
            let (_, lengths) = units.entry(polling.setup.unit).or_default();
            polling.mark(lengths);
        }
    }

    /// What to do next; nothing when every poll up to the end was made.
    ///
    /// Of the polls that may start now the one with the earliest deadline goes first, those of silent
    /// units last. Slow points are read while there is nothing else to do, and not for ever put off.
    fn next(&mut self) -> Option<Next> {
        self.clock.look();
        let now = Instant::now();
        let (index, start) = self.next_poll(now)?;
        self.loops.iter_mut().for_each(Polling::begin_look);
        let has_time = |polling: &Polling| {
            let look = polling.look.as_ref()?;
            let needs = 2 * polling
                .tally
                .turnaround()
                .unwrap_or(self.line.answer_within)
                + self.line.pace.silence;
            let overdue = now >= look.began + LOOK_WAITS;
            (overdue && start > now || now + needs < start).then_some(())
        };
        let look = self
            .loops
            .iter()
            .position(|polling| has_time(polling).is_some());
        let look = look.filter(|_| self.line.exchange.is_some());
        Some(look.map_or(Next::Poll(index, start), Next::Look))
    }

    fn next_poll(&self, now: Instant) -> Option<(usize, Instant)> {
        let loops = self
            .loops
            .iter()
            .enumerate()
            .filter(|(_, polling)| self.is_left(polling));
        let starts = loops.map(|(index, polling)| {
            let start = polling.grid.start(&self.clock, self.not_before(polling));
            let deadline = polling.grid.deadline(&self.clock);
            let yields = polling.yields(&self.clock) && now < deadline;
            let rank = match (start <= now, yields) {
                (true, false) => (0, deadline, yields),
                (true, true) => (1, deadline, yields),
                (false, _) => (2, start, yields),
            };
            (rank, index, start)
        });
        starts.min().map(|(_, index, start)| (index, start))
    }

    /// When a loop that is not silent needs the line next.
    fn wanted_at(&self) -> Option<Instant> {
        let heard = self.loops.iter().filter(|polling| !polling.is_silent());
        let starts = heard.map(|polling| {
            let not_before = self.not_before(polling);
            polling.grid.start(&self.clock, not_before)
        });
        starts.min()
    }

    fn loop_called(&self, name: &Name) -> Option<usize> {
        self.loops.iter().position(|it| it.setup.name == *name)
    }

    /// Whether polls of this loop are still to be made.
    fn is_left(&self, polling: &Polling) -> bool {
        self.end.is_none_or(|end| polling.grid.due() < end)
    }

    fn not_before(&self, polling: &Polling) -> Option<Instant> {
        let exchange = self.line.exchange.as_ref();
        let suspect_until = exchange.and_then(|it| it.can_ask_from(polling.setup.unit));
        polling.not_before(&self.clock, suspect_until)
    }

    /// One scheduled poll of one loop.
    async fn turn(&mut self, index: usize) -> Result<(), Gone> {
        if self.line.exchange.is_none() {
            self.try_reopen().await?;
        }
        // It may have slept since it began to wait.
        self.clock.look();
        let not_before = self.not_before(&self.loops[index]);
        match self.loops[index]
            .grid
            .turn(&self.clock, Instant::now(), not_before)
        {
            Turn::GiveUp(due, why) => {
                let why = match why {
                    Why::Skipped | Why::NoAnswer if self.line.exchange.is_none() => Why::PortLost,
                    why => why,
                };
                self.send_absent(index, due, why).await
            }
            Turn::Ask { due, until } => self.ask(index, due, until).await,
        }
    }

    async fn ask(&mut self, index: usize, due: Stamp, until: Instant) -> Result<(), Gone> {
        let usual = self.line.answer_within;
        let wait = self.loops[index].wait(usual, self.line.pace, self.wanted_at());
        let polling = &mut self.loops[index];
        let Some(exchange) = &mut self.line.exchange else {
            return self.send_absent(index, due, Why::PortLost).await;
        };
        exchange.set_answer_within(wait);
        let blocks = polling.trend.clone();
        let (polled, is_rescaled) = read_scaled(exchange, polling, &blocks, until).await;
        exchange.set_answer_within(usual);
        if is_rescaled {
            // The slow points tell of it.
            polling.look_at = Instant::now();
        }
        let should_replan = polling.note(&polled);
        self.send_sample(index, due, &polled).await?;
        if should_replan {
            self.plan();
        }
        self.check_port(polled.failed.iter().map(|(_, failure)| failure))
            .await
    }

    async fn send_sample(&mut self, index: usize, due: Stamp, polled: &Polled) -> Result<(), Gone> {
        let polling = &mut self.loops[index];
        polling.take_units(&polled.image);
        let sample = sample(polling, polled, &self.clock, due);
        polling.last_stamp = sample.stamp;
        self.send(Entry::Sample(sample)).await
    }

    async fn send_absent(&mut self, index: usize, due: Stamp, why: Why) -> Result<(), Gone> {
        let polling = &mut self.loops[index];
        polling.tally.unasked(why);
        let sample = absent(polling, why, due);
        polling.last_stamp = sample.stamp;
        self.send(Entry::Sample(sample)).await
    }

    /// Reads all slow points of a loop now and tells them for `cause`.
    async fn look_at_once(&mut self, index: usize, cause: SettingsCause) -> Result<(), Gone> {
        let polling = &mut self.loops[index];
        polling.wanted = Some(cause);
        polling.look_at = Instant::now();
        polling.look = None;
        polling.begin_look();
        while self.loops[index].look.is_some() && self.line.exchange.is_some() {
            self.look_on(index).await?;
        }
        Ok(())
    }

    /// Reads one more block of the look that is under way; after the last, tells what was seen.
    async fn look_on(&mut self, index: usize) -> Result<(), Gone> {
        let polling = &mut self.loops[index];
        let (Some(exchange), Some(mut look)) = (&mut self.line.exchange, polling.look.take())
        else {
            return Ok(());
        };
        if let Some(block) = look.left.pop_front() {
            let patience = Instant::now() + self.line.answer_within;
            let polled = read_blocks(exchange, polling, &[block], patience).await;
            let failed = polled.failed.clone();
            look.polled.absorb(polled);
            if polling.note_refusals(&failed) {
                self.plan();
                self.loops[index].begin_look();
            } else {
                polling.look = Some(look);
            }
            return self
                .check_port(failed.iter().map(|(_, failure)| failure))
                .await;
        }
        if polling.looks_again(&mut look) {
            return Ok(());
        }
        polling.take_units(&look.polled.image);
        match polling.finish_look(&look) {
            Some((cause, readings)) => self.send_settings(index, cause, readings).await,
            None => Ok(()),
        }
    }

    async fn send_settings(
        &mut self,
        index: usize,
        cause: SettingsCause,
        readings: Vec<Reading>,
    ) -> Result<(), Gone> {
        let polling = &self.loops[index];
        let settings = Settings {
            of: polling.setup.name.clone(),
            stamp: self.clock.now().max(polling.last_stamp),
            cause,
            readings: readings.into(),
            units: polling.settings_units.clone(),
        };
        self.send(Entry::Settings(settings)).await
    }

    /// Goes on without the port if that was among the failures.
    async fn check_port(
        &mut self,
        failures: impl IntoIterator<Item = &Failure>,
    ) -> Result<(), Gone> {
        let lost = failures.into_iter().find_map(|failure| match failure {
            Failure::PortLost(reason) => Some(reason),
            _ => None,
        });
        match lost {
            Some(reason) => self.lose_port(reason).await,
            None => Ok(()),
        }
    }

    async fn lose_port(&mut self, reason: &str) -> Result<(), Gone> {
        self.line.disconnect();
        self.reopen = Reopen {
            at: Instant::now() + REOPEN_FIRST,
            pause: REOPEN_FIRST,
        };
        let text = format!(
            "line {}: {} is gone: {reason}",
            self.line.name,
            self.line.describe()
        );
        self.send_event(Happening::PortLost, text).await
    }

    async fn try_reopen(&mut self) -> Result<(), Gone> {
        if Instant::now() < self.reopen.at {
            return Ok(());
        }
        if self.line.connect().await.is_err() {
            self.reopen.pause = (2 * self.reopen.pause).min(REOPEN_AT_MOST);
            self.reopen.at = Instant::now() + self.reopen.pause;
            return Ok(());
        }
        let text = format!("line {}: {} is back", self.line.name, self.line.describe());
        self.send_event(Happening::PortBack, text).await
    }

    async fn tell_health(&mut self, at_the_end: bool) -> Result<(), Gone> {
        if Instant::now() < self.health_at && !at_the_end {
            return Ok(());
        }
        self.health_at = Instant::now() + HEALTH_EVERY;
        for index in 0..self.loops.len() {
            let polling = &self.loops[index];
            let stamp = self.clock.now().max(polling.last_stamp);
            let health = polling.tally.health(polling.setup.name.clone(), stamp);
            self.send(Entry::Health(health)).await?;
        }
        Ok(())
    }

    /// Tells every loop of this line.
    async fn send_event(&mut self, what: Happening, text: String) -> Result<(), Gone> {
        for index in 0..self.loops.len() {
            let polling = &self.loops[index];
            let stamp = self.clock.now().max(polling.last_stamp);
            let of = Some(polling.setup.name.clone());
            self.send(Entry::Event(Event {
                of,
                stamp,
                what,
                text: text.clone(),
            }))
            .await?;
        }
        Ok(())
    }

    async fn send(&mut self, entry: Entry) -> Result<(), Gone> {
        self.out.send(entry).await.map_err(|_| Gone)
    }
}

/// Waits until `until`; an open line is listened to, and may end the waiting early.
async fn idle(exchange: &mut Option<Exchange>, until: Instant) -> Result<(), Failure> {
    if let Some(exchange) = exchange {
        return exchange.listen(until).await;
    }
    tokio::time::sleep_until(until).await;
    Ok(())
}
