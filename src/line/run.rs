//! A line that is being polled: whose turn it is, what is read, what is sent on.

use std::time::Duration;

use tokio::sync::mpsc;
use tokio::time::Instant;
use tokio_util::sync::CancellationToken;

use super::poll::{absent, planned, read_blocks, sample};
use super::schedule::{Grid, Turn};
use super::{Ask, Failure, Line, Start};
use crate::clock::{Clock, Stamp};
use crate::map::{Map, Place, Point, Refresh};
use crate::sample::{Entry, Event, Happening, Reading, Settings, SettingsCause, Why};
use crate::setup::LoopSetup;

/// How often the slow points are looked at (they change by hand, minutes apart at least).
const SETTINGS_EVERY: Duration = Duration::from_mins(1);
/// How soon they are looked at again when they were wanted and did not come.
const SETTINGS_AGAIN: Duration = Duration::from_secs(5);
/// Reopening a lost port begins after this and backs off to [`REOPEN_AT_MOST`].
const REOPEN_FIRST: Duration = Duration::from_millis(250);
const REOPEN_AT_MOST: Duration = Duration::from_secs(2);

/// A line that is being polled.
pub(super) struct Run {
    line: Line,
    clock: Clock,
    end: Option<Duration>,
    out: mpsc::Sender<Entry>,
    reopen: Reopen,
    loops: Vec<Polling>,
}

/// When the next attempt to reopen the port may be made.
struct Reopen {
    at: Instant,
    pause: Duration,
}

/// One loop and where its polling stands.
struct Polling {
    setup: LoopSetup,
    grid: Grid,
    trend: Vec<Place>,
    settings: Vec<Place>,
    last_stamp: Stamp,
    last_settings: Option<Vec<Reading>>,
    wanted: Option<SettingsCause>,
    look_again: Instant,
}

impl Run {
    pub(super) fn new(line: Line, Start { clock, end }: Start, out: mpsc::Sender<Entry>) -> Self {
        let loops = line
            .loops
            .iter()
            .map(|the_loop| Polling::new(the_loop, &clock))
            .collect();
        Self {
            line,
            clock,
            end,
            out,
            reopen: Reopen {
                at: Instant::now(),
                pause: REOPEN_FIRST,
            },
            loops,
        }
    }

    /// Polls until `stop`; at the end reads the slow points once more.
    pub(super) async fn poll(mut self, mut asks: mpsc::Receiver<Ask>, stop: CancellationToken) {
        while let Some((index, start)) = self.next_turn() {
            tokio::select! {
                biased;
                () = stop.cancelled() => break,
                Some(ask) = asks.recv() => self.take(ask),
                () = tokio::time::sleep_until(start) => {
                    if self.turn(index).await.is_err() {
                        return;
                    }
                }
            }
        }
        for index in 0..self.loops.len() {
            self.loops[index].wanted = Some(SettingsCause::End);
            if self.read_settings(index).await.is_err() {
                return;
            }
        }
    }

    /// Whose turn is next, and when it may start; none when every poll up to the end was made.
    fn next_turn(&self) -> Option<(usize, Instant)> {
        let start = |polling: &Polling| {
            let quarantine = self
                .line
                .exchange
                .as_ref()
                .and_then(|exchange| exchange.can_ask_from(polling.setup.unit));
            polling.grid.start(&self.clock, quarantine)
        };
        let left = |polling: &Polling| self.end.is_none_or(|end| polling.grid.due() < end);
        let turns = self
            .loops
            .iter()
            .enumerate()
            .filter(|(_, polling)| left(polling));
        turns
            .map(|(index, polling)| (index, start(polling)))
            .min_by_key(|(_, at)| *at)
    }

    fn take(&mut self, Ask::Settings(name, cause): Ask) {
        if let Some(polling) = self
            .loops
            .iter_mut()
            .find(|polling| polling.setup.name == name)
        {
            polling.wanted = Some(cause);
            polling.look_again = Instant::now();
        }
    }

    /// One scheduled poll of one loop, and its slow points when they are due.
    async fn turn(&mut self, index: usize) -> Result<(), Gone> {
        if self.line.exchange.is_none() {
            self.try_reopen().await?;
        }
        let quarantine = self
            .line
            .exchange
            .as_ref()
            .and_then(|it| it.can_ask_from(self.loops[index].setup.unit));
        match self.loops[index]
            .grid
            .turn(&self.clock, Instant::now(), quarantine)
        {
            Turn::GiveUp(due, why) => {
                let why = if self.line.exchange.is_none() {
                    Why::PortLost
                } else {
                    why
                };
                self.send_absent(index, due, why).await
            }
            Turn::Ask { due, until } => {
                self.ask(index, due, until).await?;
                if Instant::now() >= self.loops[index].look_again {
                    self.read_settings(index).await?;
                }
                Ok(())
            }
        }
    }

    async fn ask(&mut self, index: usize, due: Stamp, until: Instant) -> Result<(), Gone> {
        let polling = &mut self.loops[index];
        let Some(exchange) = &mut self.line.exchange else {
            return self.send_absent(index, due, Why::PortLost).await;
        };
        let polled = read_blocks(exchange, &polling.setup, &polling.trend, until).await;
        let sample = sample(
            &polling.setup,
            &polled,
            &self.clock,
            due,
            polling.last_stamp,
        );
        polling.last_stamp = sample.stamp;
        self.send(Entry::Sample(sample)).await?;
        self.check_port(&polled.failed).await
    }

    async fn send_absent(&mut self, index: usize, due: Stamp, why: Why) -> Result<(), Gone> {
        let polling = &mut self.loops[index];
        let sample = absent(&polling.setup, why, due, polling.last_stamp);
        polling.last_stamp = sample.stamp;
        self.send(Entry::Sample(sample)).await
    }

    /// Reads the slow points and sends them on where they are wanted or differ from the last look.
    async fn read_settings(&mut self, index: usize) -> Result<(), Gone> {
        let polling = &mut self.loops[index];
        let Some(exchange) = self
            .line
            .exchange
            .as_mut()
            .filter(|_| !polling.settings.is_empty())
        else {
            return Ok(());
        };
        let patience = Instant::now() + self.line.answer_within;
        let polled = read_blocks(exchange, &polling.setup, &polling.settings, patience).await;
        let map = &polling.setup.map;
        let readings: Vec<Reading> = map
            .settings_points()
            .map(|point| map.read(point, &polled.image))
            .collect();
        let telling = polling.worth_telling(&readings);
        polling.look_again = Instant::now()
            + if polling.wanted.is_some() {
                SETTINGS_AGAIN
            } else {
                SETTINGS_EVERY
            };
        if let Some(cause) = telling {
            let stamp = self.clock.now().max(polling.last_stamp);
            let settings = Settings {
                of: polling.setup.name.clone(),
                stamp,
                cause,
                readings: readings.into(),
            };
            self.send(Entry::Settings(settings)).await?;
        }
        self.check_port(&polled.failed).await
    }

    async fn check_port(&mut self, failed: &[(Place, Failure)]) -> Result<(), Gone> {
        let lost = failed.iter().find_map(|(_, failure)| match failure {
            Failure::PortLost(reason) => Some(reason),
            _ => None,
        });
        let Some(reason) = lost else { return Ok(()) };
        self.line.exchange = None;
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

    async fn send(&mut self, entry: Entry) -> Result<(), Gone> {
        self.out.send(entry).await.map_err(|_| Gone)
    }

    /// Tells every loop of this line.
    async fn send_event(&mut self, what: Happening, text: String) -> Result<(), Gone> {
        for index in 0..self.loops.len() {
            let polling = &self.loops[index];
            let stamp = self.clock.now().max(polling.last_stamp);
            let event = Event {
                of: Some(polling.setup.name.clone()),
                stamp,
                what,
                text: text.clone(),
            };
            self.send(Entry::Event(event)).await?;
        }
        Ok(())
    }
}

impl Polling {
    fn new(setup: &LoopSetup, clock: &Clock) -> Self {
        Self {
            grid: Grid::new(setup.every),
            trend: planned(&setup.map, Refresh::Trend),
            settings: planned(&setup.map, Refresh::Settings),
            last_stamp: clock.at(Duration::ZERO),
            last_settings: None,
            wanted: Some(SettingsCause::Start),
            look_again: Instant::now(),
            setup: setup.clone(),
        }
    }

    /// Why these readings should be told, if they should; remembers the good ones.
    fn worth_telling(&mut self, readings: &[Reading]) -> Option<SettingsCause> {
        let came = readings
            .iter()
            .any(|reading| matches!(reading, Reading::Good(_)));
        let differs = self
            .last_settings
            .as_deref()
            .is_some_and(|last| moved(&self.setup.map, last, readings));
        if came {
            // A point that did not come this time keeps its last value.
            let before = self
                .last_settings
                .take()
                .unwrap_or_else(|| readings.to_vec());
            let keep = |(old, new): (Reading, &Reading)| {
                if new.number().is_some() {
                    new.clone()
                } else {
                    old
                }
            };
            self.last_settings = Some(before.into_iter().zip(readings).map(keep).collect());
        }
        match self.wanted {
            // What was asked for stays wanted until it has come; the end does not come twice.
            Some(cause) if came || cause == SettingsCause::End => {
                self.wanted = None;
                Some(cause)
            }
            Some(_) => None,
            None => differs.then_some(SettingsCause::Changed),
        }
    }
}

/// Whether any setting that came both times differs.
fn moved(map: &Map, last: &[Reading], now: &[Reading]) -> bool {
    let differs = |(point, (last, now)): (&Point, (&Reading, &Reading))| {
        let both = last.number().zip(now.number());
        !point.role.follows_the_loop() && both.is_some_and(|(last, now)| last != now)
    };
    map.settings_points().zip(last.iter().zip(now)).any(differs)
}

/// Nobody listens any more: the line ends.
#[derive(Debug)]
struct Gone;
