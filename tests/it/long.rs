//! A long recording in virtual time on a small computer that has a hard life: its wire is bad, its
//! clock is set, it sleeps, and its recorder dies and is started again.

use std::io;
use std::path::{Path, PathBuf};
use std::sync::Arc;
use std::time::Duration;

use chrono::{DateTime, TimeDelta, Utc};
use emberline::clock::{Clock, Simulated};
use emberline::line::{Manner, Pace, Start};
use emberline::record::{Recorder, Unfinished};
use emberline::session::{Opening, Session};
use emberline::setup::{LineSetup, Setup};
use mock_device::oven::{LEFT_OVER_TUNING, Oven};
use mock_device::panel::Panel;
use mock_device::registers::{Annealer, Layout as _};
use mock_device::wire::{Adapter, Bus, Fault, Faults, Timing, Unit, in_memory};
use tokio::task::JoinHandle;
use tokio::time::{Instant, sleep, sleep_until};
use tokio_util::sync::CancellationToken;

use super::played::opener;

/// The loop.
pub(super) const LOOP: &str = "annealer-top";
/// What the wall clock says when it begins.
pub(super) const BEGAN: &str = "2027-03-04T06:00:00Z";
const NAME: &str = "long";
const SEED: u64 = 1;
const SETUP: &str = include_str!("../../configs/annealing-oven.toml");

/// What happens to the computer.
#[derive(Clone, Copy, Debug)]
pub(super) enum Blow {
    /// Its clock is set.
    Step(TimeDelta),
    /// It sleeps.
    Sleep(Duration),
    /// The recorder dies, and is started again so much later, when the clock has been set so far.
    Death(Duration, TimeDelta),
}

/// A long recording.
pub(super) struct Long {
    setup: Setup,
    machine: Arc<Simulated>,
    adapter: Adapter,
    into: PathBuf,
    polls: u32,
}

impl Long {
    /// So many polls of one loop, recorded into `into`. Each kind of fault has this share of the
    /// exchanges, and the adapter is pulled out in such a share of the seconds.
    pub(super) fn new(into: &Path, polls: u32, share: f64) -> Self {
        let map = |_: &str| io::Result::Ok(Annealer.map_text().to_owned());
        let adapter = Adapter::on(in_memory(bus(share)));
        tokio::spawn(adapter.clone().sits_loosely(SEED, share));
        Self {
            setup: Setup::parse(SETUP, "setup", NAME, &map).unwrap(),
            machine: Simulated::starting_at(BEGAN.parse::<DateTime<Utc>>().unwrap()),
            adapter,
            into: into.to_owned(),
            polls,
        }
    }

    /// Plays it to its end, with blows at these times after the beginning, sleep not counted; gives
    /// the recording's folder.
    pub(super) async fn play(&self, blows: &[(Duration, Blow)]) -> PathBuf {
        let began = Instant::now();
        let mut running = self.start().await;
        for (at, blow) in blows {
            sleep_until(began + *at).await;
            match blow {
                Blow::Step(by) => self.machine.set_clock(*by),
                Blow::Sleep(length) => self.machine.sleep(*length),
                Blow::Death(down, off) => {
                    running.die().await;
                    sleep(*down).await;
                    self.machine.set_clock(*off);
                    running = self.start().await;
                }
            }
        }
        running.writing.await.unwrap()
    }

    /// A recorder process.
    async fn start(&self) -> Running {
        let pace = |line: &LineSetup| Pace::of(&line.port);
        let plugged = || {
            let adapter = self.adapter.clone();
            move || adapter.open()
        };
        let stop = CancellationToken::new();
        let unfinished = Unfinished::find(&self.into, NAME, &self.setup).unwrap();
        let mut opener = |line: &LineSetup| opener(pace(line), plugged());
        let mut opening = Opening::new(&self.setup, Manner::Ask, &mut opener, &stop);
        let mut tasks: Vec<_> = std::mem::take(&mut opening.lines)
            .into_iter()
            .map(tokio::spawn)
            .collect();
        // A port that is out when the recording goes on comes back.
        let _ = opening.wait(|_| {}).await;
        let (clock, recorder) = if let Some(unfinished) = unfinished {
            let clock = unfinished.clock(self.machine.clone());
            let recorder = Recorder::resume(unfinished, &self.setup, &clock);
            (clock, recorder.unwrap())
        } else {
            let clock = Clock::on(self.machine.clone());
            let recorder = Recorder::create(&self.into, NAME, &self.setup, &clock);
            (clock, recorder.unwrap())
        };
        let start = Start {
            clock,
            from: recorder.writes_from(),
            end: Some(self.setup.loops[0].every * self.polls),
        };
        let Session { hub, recorder, .. } = opening.begin(&self.setup, start, Some(recorder));
        tasks.push(tokio::spawn(hub));
        let recorder = recorder.unwrap();
        let writing = tokio::spawn(async move { recorder.await.unwrap() });
        Running { tasks, writing }
    }
}

struct Running {
    tasks: Vec<JoinHandle<()>>,
    writing: JoinHandle<PathBuf>,
}

impl Running {
    /// Nothing is closed.
    async fn die(self) {
        self.writing.abort();
        assert!(self.writing.await.is_err(), "it had not ended");
        for task in self.tasks {
            task.abort();
            // It is gone, whatever it says.
            let _ = task.await;
        }
    }
}

fn bus(share: f64) -> Bus {
    let panel = Panel::new(Oven::settled_at(490.0, LEFT_OVER_TUNING, SEED), 1.0);
    let mut bus = Bus::new(vec![Unit::new(1, &Annealer, panel)]);
    bus.timing = Timing::at_baud(9600, Duration::from_millis(10));
    let kinds = Fault::ALL.into_iter().filter(|fault| *fault != Fault::Echo);
    bus.with_faults(kinds.fold(Faults::new(SEED), |faults, kind| faults.with(kind, share)))
}
