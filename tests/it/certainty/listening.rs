//! One trial of listening: the whole session beside other masters, on a line where everything goes
//! wrong with the answers and now and then with what is heard of the requests, in virtual time.

use std::sync::Arc;
use std::sync::atomic::{AtomicU64, Ordering};
use std::time::Duration;

use emberline::line::{Manner, Pace};
use emberline::setup::LineSetup;
use mock_device::registers::counter::Counter;
use mock_device::wire::{Adapter, Master, Poll, in_memory};
use tokio::io::{AsyncReadExt as _, AsyncWriteExt as _, DuplexStream};

use super::judge::{Judge, Verdict};
use super::trial::{ANSWER_WITHIN, BLOCK_AT, BLOCKS, Plug, SHARE, Trial, UNITS};
use crate::played::{Played, opener, paused};

/// Shorter than any answer is late, so that an old one shows.
const EVERY: Duration = Duration::from_millis(200);

/// What is tried.
#[derive(Clone, Copy, Debug)]
pub(super) struct Listening {
    /// How the line is reached.
    pub(super) plug: Plug,
    /// Whether the blocks of a unit all differ in length.
    pub(super) unique_lengths: bool,
    /// How many masters poll at once, without regard for each other.
    pub(super) masters: u64,
    /// Scheduled rows of each unit.
    pub(super) rows: u32,
    /// Decides what goes wrong when.
    pub(super) seed: u64,
}

/// What came of it.
#[derive(Clone, Debug)]
pub(super) struct Outcome {
    /// Requests that reached a unit.
    pub(super) exchanges: u64,
    /// Bytes that we sent.
    pub(super) sent: u64,
    /// What the judge found.
    pub(super) verdict: Verdict,
}

impl Listening {
    /// Every combination of the choices, with so many rows each.
    pub(super) fn all(rows: u32) -> Vec<Self> {
        let mut trials = Vec::new();
        for plug in [Plug::Serial, Plug::RtuOverTcp] {
            for (unique_lengths, masters) in [(true, 1), (true, 2), (false, 1), (false, 2)] {
                let seed = trials.len() as u64 + 101;
                trials.push(Self {
                    plug,
                    unique_lengths,
                    masters,
                    rows,
                    seed,
                });
            }
        }
        trials
    }

    /// Runs it to its end.
    pub(super) fn run(self) -> Outcome {
        paused().block_on(self.play())
    }

    async fn play(self) -> Outcome {
        let setup = self.asking().setup_with(EVERY);
        let counters: Vec<Counter> = (0..)
            .zip(UNITS)
            .map(|(mark, _)| Counter::new(mark, false))
            .collect();
        let (heard, hears) = tokio::io::duplex(4096);
        let sent = Arc::new(AtomicU64::new(0));
        tokio::spawn(mishear(
            self.line(&counters),
            heard,
            self.seed,
            sent.clone(),
        ));
        let adapter = Adapter::on(hears);
        let mut plugged = |line: &LineSetup| {
            let adapter = adapter.clone();
            opener(Pace::of(&line.port), move || adapter.open())
        };
        let length = EVERY * self.rows;
        let listening = Played::begin_as(Manner::ListenOnly, &setup, &mut plugged, length, None);
        let mut played = listening.await;
        tokio::spawn(adapter.clone().sits_loosely(self.seed, SHARE));
        let mut judge = Judge::of_listener(&setup, &counters, played.clock.clone());
        while let Some(entry) = played.next().await {
            judge.look(&entry);
        }
        Outcome {
            exchanges: counters.iter().map(Counter::count).sum(),
            sent: sent.load(Ordering::Relaxed),
            verdict: judge.verdict(),
        }
    }

    /// The trial with the same map in which we ask.
    fn asking(self) -> Trial {
        Trial {
            plug: self.plug,
            returns_query: false,
            unique_lengths: self.unique_lengths,
            polls: self.rows,
            seed: self.seed,
        }
    }

    /// The units and the masters, and everything that goes wrong between them.
    fn line(self, counters: &[Counter]) -> DuplexStream {
        let bus = self.asking().bus(counters);
        in_memory((0..self.masters).fold(bus, |bus, number| bus.with_master(self.master(number))))
    }

    /// A master that reads every block of both units, each a little less often than the one before.
    fn master(self, number: u64) -> Master {
        let mut polls = Vec::new();
        for unit in UNITS {
            for (block, (table, _)) in BLOCKS.into_iter().enumerate() {
                let function = if table == "input" { 4 } else { 3 };
                let every = 600 + 170 * number + 40 * block as u64;
                polls.extend(Poll::new(
                    unit,
                    function,
                    (BLOCK_AT * block) as u16,
                    2 * self.asking().pairs(block) as u16,
                    Duration::from_millis(every),
                ));
            }
        }
        let mut master = Master::new(polls);
        // Sooner than we would give an answer up.
        master.answer_within = ANSWER_WITHIN * 3 / 4;
        master
    }
}

/// Carries what is on the line to a listener's ear, and spoils a share of it on the way; counts what
/// the listener sends.
async fn mishear(mut line: DuplexStream, mut ear: DuplexStream, seed: u64, sent: Arc<AtomicU64>) {
    // Knuth's MMIX generator, its upper half.
    let mut state = seed;
    let mut random = move |below: u64| {
        state = state
            .wrapping_mul(6_364_136_223_846_793_005)
            .wrapping_add(1_442_695_040_888_963_407);
        (state >> 32) % below
    };
    let (mut came, mut sends) = ([0; 512], [0; 512]);
    loop {
        tokio::select! {
            read = line.read(&mut came) => {
                let Ok(length @ 1..) = read else { return };
                if (random(1000) as f64) < 1000.0 * SHARE {
                    // One byte: a burst that the checksum always catches.
                    let spoiled = random(length as u64) as usize;
                    came[spoiled] ^= 1 + random(255) as u8;
                }
                if ear.write_all(&came[..length]).await.is_err() {
                    return;
                }
            }
            read = ear.read(&mut sends) => {
                let Ok(length @ 1..) = read else { return };
                sent.fetch_add(length as u64, Ordering::Relaxed);
            }
        }
    }
}
