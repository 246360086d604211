//! Who was heard, and how much.

use std::collections::{BTreeMap, BTreeSet};
use std::time::Duration;

use tokio::time::Instant;

use super::cut::Piece;
use crate::figures;
use crate::line::sound::Side;

/// More requests in a second are counted, fewer are timed.
const OFTEN: Duration = Duration::from_millis(100);

/// Everything that was heard on a line.
#[derive(Clone, Debug, Default, PartialEq, Eq)]
pub(crate) struct Census {
    /// Frames of anybody.
    pub(crate) frames: u32,
    /// Bytes of no frame, and those of them that a floating line does not explain.
    pub(crate) noise: usize,
    pub(crate) strange: usize,
    heard: BTreeMap<u8, Talk>,
    requests: u32,
    first_request: Option<Instant>,
    last_request: Option<Instant>,
}

/// What concerns one unit, asked or answered.
#[derive(Clone, Debug, PartialEq, Eq)]
struct Talk {
    functions: BTreeSet<u8>,
    last: Instant,
}

impl Census {
    pub(crate) fn take(&mut self, piece: &Piece) {
        let frame = match piece {
            Piece::Frame(frame) => frame,
            Piece::Noise(noise) => {
                self.noise += noise.length;
                self.strange += if noise.is_stray { 0 } else { noise.length };
                return;
            }
        };
        self.frames += 1;
        let talk = self.heard.entry(frame.unit).or_insert_with(|| Talk {
            functions: BTreeSet::new(),
            last: frame.at,
        });
        talk.functions.insert(frame.function());
        talk.last = frame.at;
        if frame.side == Side::Request {
            self.requests += 1;
            self.first_request.get_or_insert(frame.at);
            self.last_request = Some(frame.at);
        }
    }

    /// The units and their functions: `unit 1 functions 03 and 10, unit 2 function 03`.
    pub(crate) fn units(&self) -> String {
        let unit = |(unit, talk): (&u8, &Talk)| {
            let codes = talk.functions.iter().map(|code| format!("{code:02X}"));
            let codes: Vec<String> = codes.collect();
            let s = if codes.len() == 1 { "" } else { "s" };
            format!("unit {unit} function{s} {}", codes.join(" and "))
        };
        let units: Vec<String> = self.heard.iter().map(unit).collect();
        units.join(", ")
    }

    /// Whether only units other than this one were heard since then.
    pub(crate) fn heard_only_others(&self, unit: u8, since: Instant) -> bool {
        let recent = || self.heard.iter().filter(|(_, talk)| talk.last >= since);
        recent().count() > 0 && recent().all(|(heard, _)| *heard != unit)
    }

    /// How much talk there is: `one request every 500 ms`, `25 requests a second`.
    pub(crate) fn rate(&self) -> String {
        let between = self
            .first_request
            .zip(self.last_request)
            .and_then(|(first, last)| {
                let gaps = self.requests.checked_sub(1).filter(|gaps| *gaps > 0)?;
                Some((last - first) / gaps)
            });
        match (between, self.requests) {
            (Some(between), _) if between >= OFTEN => {
                let rounded = Duration::from_millis((between.as_millis() as u64 + 5) / 10 * 10);
                format!("one request every {}", figures::wait(rounded))
            }
            (Some(between), _) if !between.is_zero() => {
                format!("{:.0} requests a second", 1.0 / between.as_secs_f64())
            }
            (_, 0) => format!("{} frame{}", self.frames, plural(self.frames)),
            (_, requests) => format!("{requests} request{}", plural(requests)),
        }
    }
}

fn plural(count: u32) -> &'static str {
    if count == 1 { "" } else { "s" }
}
