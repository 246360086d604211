//! Polls in simulated time, stretched a thousandfold so that a timer's steps of 1 ms do not count.

use std::fmt::Write as _;
use std::io;
use std::time::Duration;

use emberline::line::Pace;
use emberline::sample::{Entry, State};
use emberline::setup::{LineSetup, Setup};
use mock_device::registers::counter::Counter;
use mock_device::wire::{Bus, Timing, in_memory};

use crate::least::{Point, Rule, Wire};
use crate::played::{Played, opener, paused};

const STRETCH: u32 = 1000;
pub(crate) const UNIT: u8 = 1;
const POINTS: usize = 12;
const SCATTERINGS: u64 = 40;
/// Polls until the unit's turnaround is known and the plan made with it, and polls that are measured.
const POLLS_BEFORE: u32 = 25;
const POLLS: u32 = 5;
/// How long a unit thinks about a request, microseconds.
const TURNAROUND: f64 = 1000.0;

/// One line and one kind of unit on it.
#[derive(Clone, Copy, Debug)]
pub(crate) struct Case {
    pub(crate) line: &'static str,
    baud: u32,
    parity: &'static str,
    /// Of a character, start and stop included.
    bits: u32,
    /// The unit makes sure that the request is over, as the standard has it.
    pub(crate) keeps_silence: bool,
}

/// What one scattering came to.
#[derive(Clone, Copy, Debug)]
pub(crate) struct Measured {
    /// The least time, microseconds.
    pub(crate) least: f64,
    /// Of the polls to the least time, where the lengths of blocks must differ.
    pub(crate) ruled: f64,
    /// The same where they may be equal.
    pub(crate) free: f64,
    /// Of reading point by point to the polls.
    pub(crate) single: f64,
}

impl Case {
    pub(crate) fn all() -> Vec<Self> {
        let lines = [
            ("9600 8E1", 9600, "even", 11),
            ("19200 8E1", 19_200, "even", 11),
            ("115200 8N1", 115_200, "none", 10),
        ];
        let case = |(line, baud, parity, bits)| {
            [false, true].map(|keeps_silence| Self {
                line,
                baud,
                parity,
                bits,
                keeps_silence,
            })
        };
        lines.into_iter().flat_map(case).collect()
    }

    /// What the standard says of the line.
    pub(crate) fn wire(self) -> Wire {
        let wire = Wire::new(self.baud, self.bits, TURNAROUND);
        let silence = if self.keeps_silence {
            wire.silence
        } else {
            0.0
        };
        Wire {
            turnaround: TURNAROUND.max(silence),
            ..wire
        }
    }

    /// Every scattering, in rising order of what its polls came to.
    pub(crate) fn measure(self) -> Vec<Measured> {
        let mut measured: Vec<_> = (1..=SCATTERINGS).map(|seed| self.scattered(seed)).collect();
        measured.sort_by(|a, b| a.ruled.total_cmp(&b.ruled));
        measured
    }

    fn scattered(self, seed: u64) -> Measured {
        let points = scattered(seed);
        let max_words = if (seed / 4).is_multiple_of(2) {
            16
        } else {
            125
        };
        let least = |lengths_differ| {
            let rule = Rule {
                max_words,
                lengths_differ,
            };
            self.wire().least(&points, rule)
        };
        let took = self.poll(&points, max_words, true);
        Measured {
            least: least(true),
            ruled: took / least(true),
            free: took / least(false),
            single: self.poll(&points, max_words, false) / took,
        }
    }

    /// What a poll takes from when it is due until its sample comes, microseconds; the slowest.
    fn poll(self, points: &[Point], max_words: u16, may_bridge: bool) -> f64 {
        let mut setup = self.setup(&map(points, max_words, may_bridge));
        setup.lines[0].answer_within *= STRETCH;
        setup.loops[0].every *= STRETCH;
        paused().block_on(async {
            let mut bus = Bus::new(Vec::new()).with_counter(UNIT, Counter::new(0, true));
            bus.timing = self.timing();
            let mut wire = Some(in_memory(bus));
            let mut plugged = |line: &LineSetup| {
                let wire = wire.take();
                let mut wire = Some(wire);
                opener(Pace::of(&line.port).stretched(STRETCH), move || {
                    wire.take()?
                })
            };
            let every = setup.loops[0].every;
            let length = every * (POLLS_BEFORE + POLLS);
            let mut played = Played::begin(&setup, &mut plugged, length, None).await;
            let (mut polls, mut slowest) = (0, Duration::ZERO);
            while let Some(entry) = played.next().await {
                let Entry::Sample(sample) = entry else {
                    continue;
                };
                assert_eq!(sample.state, State::Good, "poll {polls} of {self:?}");
                if polls >= POLLS_BEFORE {
                    let came = played.clock.now().elapsed;
                    slowest = slowest.max(came.saturating_sub(every * polls));
                }
                polls += 1;
            }
            assert_eq!(polls, POLLS_BEFORE + POLLS);
            1e6 * (slowest / STRETCH).as_secs_f64()
        })
    }

    fn timing(self) -> Timing {
        let Wire {
            character,
            turnaround,
            ..
        } = self.wire();
        let stretched = |us: f64| Duration::from_secs_f64(f64::from(STRETCH) * us / 1e6);
        Timing {
            turnaround: stretched(turnaround),
            character: stretched(character),
        }
    }

    /// The line with its unit on it.
    pub(crate) fn setup(self, map: &str) -> Setup {
        let Self { baud, parity, .. } = self;
        let text = format!(
            "schema = 1\n[lines.wire]\nserial = \"simulated\"\nbaud = {baud}\nparity = \"{parity}\"\n\
             [[loops]]\nname = \"scattered\"\nline = \"wire\"\nunit_number = {UNIT}\nmap = \"map\"\n"
        );
        let read = |_: &_| io::Result::Ok(map.to_owned());
        Setup::parse(&text, "wire", "wire", &read).unwrap()
    }
}

/// One or two registers each, with gaps of up to 4, 8, 16 or 32 between them.
pub(crate) fn scattered(seed: u64) -> Vec<Point> {
    let mut random = seed;
    let mut up_to = |most: u64| {
        // A step of the generator of Knuth, The Art of Computer Programming 2, 3.3.4, table 1, line 26.
        random = random
            .wrapping_mul(6_364_136_223_846_793_005)
            .wrapping_add(1_442_695_040_888_963_407);
        (1 + (random >> 33) % most) as u16
    };
    let gap = 4 << (seed % 4);
    let mut next = 0;
    let mut point = || {
        let (address, count) = (next + up_to(gap), up_to(2));
        next = address + count;
        (address, count)
    };
    (0..POINTS).map(|_| point()).collect()
}

/// Their map; blocks may run over gaps or not.
pub(crate) fn map(points: &[Point], max_words: u16, may_bridge: bool) -> String {
    let mut text = format!(
        "schema = 1\ntitle = \"Scattered\"\n[access]\nmax_words = {max_words}\nbridge_gaps = {may_bridge}\n"
    );
    for (number, (address, count)) in points.iter().enumerate() {
        let role = if number == 0 {
            "process-value"
        } else {
            "other"
        };
        let encoding = if *count == 1 { "u16" } else { "u32" };
        write!(
            text,
            "[points.p{address}]\nrole = \"{role}\"\ntable = \"holding\"\n"
        )
        .unwrap();
        writeln!(text, "address = {address}\nencoding = \"{encoding}\"").unwrap();
    }
    text
}
