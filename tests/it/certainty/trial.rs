//! One trial: the whole session against units that tell which request they answer, on a line where
//! everything goes wrong, in virtual time.

use std::fmt::Write as _;
use std::io;
use std::time::Duration;

use emberline::line::Pace;
use emberline::setup::{LineSetup, Setup};
use mock_device::registers::counter::Counter;
use mock_device::wire::{Adapter, Bus, Fault, Faults, in_memory};

use super::judge::{Judge, Verdict};
use crate::played::{Played, opener, paused};

/// An answer later than this is none.
pub(super) const ANSWER_WITHIN: Duration = Duration::from_millis(200);
/// What the map promises: no answer comes later than this.
const LATE_AT_MOST: Duration = Duration::from_secs(2);
/// A gateway gives up a little sooner than we do.
const GATEWAY_GIVES_UP: Duration = Duration::from_millis(150);
/// A unit's usual time before its answer.
const TURNAROUND: Duration = Duration::from_millis(2);
/// The share of exchanges in which each kind of fault strikes, and of seconds in which the adapter is
/// pulled out.
pub(super) const SHARE: f64 = 0.05;
/// Two units on the line; not neighbours, because a foreign answer is the next unit's.
pub(super) const UNITS: [u8; 2] = [1, 3];

/// The table of each block, and when it is read; each begins so many addresses behind the one before.
pub(super) const BLOCKS: [(&str, &str); 7] = [
    ("holding", "trend"),
    ("holding", "trend"),
    ("input", "trend"),
    ("holding", "trend"),
    ("input", "trend"),
    ("holding", "settings"),
    ("input", "settings"),
];
pub(super) const BLOCK_AT: usize = 100;

/// How the units are reached.
#[derive(Clone, Copy, Debug, PartialEq, Eq)]
pub(super) enum Plug {
    /// A serial port.
    Serial,
    /// A serial port whose adapter returns what is sent.
    SerialWithEcho,
    /// RTU frames through a TCP connection.
    RtuOverTcp,
    /// A careless Modbus TCP gateway.
    Gateway,
}

/// What is tried.
#[derive(Clone, Copy, Debug)]
pub(super) struct Trial {
    /// How the units are reached.
    pub(super) plug: Plug,
    /// Whether the units answer function 08.
    pub(super) returns_query: bool,
    /// Whether the map's blocks all differ in length.
    pub(super) unique_lengths: bool,
    /// Scheduled polls of each unit, a second apart.
    pub(super) polls: u32,
    /// Decides what goes wrong when.
    pub(super) seed: u64,
}

/// What came of it.
#[derive(Clone, Debug)]
pub(super) struct Outcome {
    /// Requests that reached a unit.
    pub(super) exchanges: u64,
    /// What the judge found.
    pub(super) verdict: Verdict,
}

impl Trial {
    /// Every combination of the choices, with so many polls each.
    pub(super) fn all(polls: u32) -> Vec<Self> {
        let plugs = [
            Plug::Serial,
            Plug::SerialWithEcho,
            Plug::RtuOverTcp,
            Plug::Gateway,
        ];
        let mut trials = Vec::new();
        for plug in plugs {
            for (returns_query, unique_lengths) in
                [(true, true), (true, false), (false, true), (false, false)]
            {
                let seed = trials.len() as u64 + 1;
                trials.push(Self {
                    plug,
                    returns_query,
                    unique_lengths,
                    polls,
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
        let setup = self.setup();
        let counters: Vec<Counter> = (0..)
            .zip(UNITS)
            .map(|(mark, _)| Counter::new(mark, self.returns_query))
            .collect();
        let adapter = self.adapter(&counters);
        tokio::spawn(adapter.clone().sits_loosely(self.seed, SHARE));
        let mut plugged = |line: &LineSetup| {
            let adapter = adapter.clone();
            opener(Pace::of(&line.port), move || adapter.open())
        };
        let length = Duration::from_secs(self.polls.into());
        let mut played = Played::begin(&setup, &mut plugged, length, None).await;
        let mut judge = Judge::new(&setup, &counters, played.clock.clone());
        while let Some(entry) = played.next().await {
            judge.look(&entry);
        }
        Outcome {
            exchanges: counters.iter().map(Counter::count).sum(),
            verdict: judge.verdict(),
        }
    }

    /// The units, and everything that goes wrong with their answers.
    pub(super) fn bus(self, counters: &[Counter]) -> Bus {
        let mut faults = Fault::ALL
            .into_iter()
            .filter(|fault| *fault != Fault::Echo)
            .fold(Faults::new(self.seed), |faults, fault| {
                faults.with(fault, SHARE)
            });
        if self.plug == Plug::SerialWithEcho {
            faults = faults.with(Fault::Echo, 1.0);
        }
        faults.lateness = ANSWER_WITHIN + Duration::from_millis(10)..=LATE_AT_MOST;
        let both = UNITS.into_iter().zip(counters);
        let mut bus = both.fold(Bus::new(Vec::new()), |bus, (number, counter)| {
            bus.with_counter(number, counter.clone())
        });
        bus.timing.turnaround = TURNAROUND;
        bus.with_faults(faults)
    }

    fn adapter(self, counters: &[Counter]) -> Adapter {
        let line = in_memory(self.bus(counters));
        match self.plug {
            Plug::Gateway => Adapter::gateway(line, GATEWAY_GIVES_UP),
            Plug::Serial | Plug::SerialWithEcho | Plug::RtuOverTcp => Adapter::on(line),
        }
    }

    /// The setup of both units, polled once a second.
    pub(super) fn setup(self) -> Setup {
        self.setup_with(Duration::from_secs(1))
    }

    /// The setup of both units, polled every so often.
    pub(super) fn setup_with(self, every: Duration) -> Setup {
        let port = match self.plug {
            Plug::Serial | Plug::SerialWithEcho => "serial = \"simulated\"",
            Plug::RtuOverTcp => "rtu_over_tcp = \"simulated:1\"",
            Plug::Gateway => "tcp = \"simulated:1\"",
        };
        let within = ANSWER_WITHIN.as_millis();
        let mut text =
            format!("schema = 1\n[lines.bad]\n{port}\nanswer_within = \"{within} ms\"\n");
        for unit in UNITS {
            write!(text, "[[loops]]\nname = \"unit-{unit}\"\nline = \"bad\"\n").unwrap();
            writeln!(text, "unit_number = {unit}\nmap = \"map\"").unwrap();
            writeln!(text, "every = \"{} ms\"", every.as_millis()).unwrap();
        }
        let map = self.map();
        Setup::parse(&text, "trial", "trial", &|_| io::Result::Ok(map.clone())).unwrap()
    }

    /// How many pairs a block has.
    pub(super) fn pairs(self, block: usize) -> usize {
        if self.unique_lengths { block + 1 } else { 1 }
    }

    /// Blocks of one, two, three.. pairs each, or of one each, that cannot be bridged or padded.
    fn map(self) -> String {
        let late = LATE_AT_MOST.as_millis();
        let mut text = format!(
            "schema = 1\ntitle = \"Counter\"\n\
             [access]\nmax_words = 125\nbridge_gaps = false\nlate_at_most = \"{late} ms\"\n"
        );
        for (block, (table, refresh)) in BLOCKS.into_iter().enumerate() {
            for pair in 0..self.pairs(block) {
                let address = BLOCK_AT * block + 2 * pair;
                let role = if address == 0 {
                    "process-value"
                } else {
                    "other"
                };
                write!(text, "[points.p{address}]\nrole = \"{role}\"\n").unwrap();
                write!(text, "table = \"{table}\"\naddress = {address}\n").unwrap();
                writeln!(text, "encoding = \"u32\"\nrefresh = \"{refresh}\"").unwrap();
            }
        }
        text
    }
}
