//! Pairs the requests of other masters with the answers to them.
//!
//! An exchange is judged when it is over: at the next request, or when the time for its answer is
//! over. Until then a second answer may show that the first was none.

use std::collections::HashMap;
use std::time::Duration;

use tokio::time::Instant;

use super::cut::{Frame, Noise, Piece};
use super::standing::{Shape, Standing};
use crate::line::port::Pace;
use crate::line::sound::{LONGEST, REFUSED, Side};
use crate::map::{Address, Place, Table};
use crate::setup::UnitId;

/// Bytes of a request that reads. So many may have been as many requests as that, and a damaged one.
const READ: usize = 8;

/// A read of another master, and what came of it.
#[derive(Clone, Debug, PartialEq, Eq)]
pub(crate) struct Overheard {
    pub(crate) unit: UnitId,
    pub(crate) asked: Place,
    /// When the answer was there, or the request where none came.
    pub(crate) at: Instant,
    /// From the end of the request to the end of the answer, and of that the time before its first
    /// character, as the line's pace has it.
    pub(crate) took: (Duration, Duration),
    pub(crate) outcome: Outcome,
}

/// What came of a read.
#[derive(Clone, Debug, PartialEq, Eq)]
pub(crate) enum Outcome {
    /// The data bytes of the one answer that can be meant for it.
    Came(Vec<u8>),
    /// A refusal with this code that can be meant for nothing else.
    Refused(u8),
    /// Something that is no sound frame, and nothing else.
    Damaged,
    /// Nothing.
    Missed,
    /// An answer of the right shape that may be meant for another request.
    Unclear,
}

/// Units that are listened to, each with how late an answer of it may be.
pub(crate) type Lateness = HashMap<UnitId, Duration>;

/// Requests and answers, as they come.
#[derive(Debug)]
pub(super) struct Pairing {
    pace: Pace,
    answer_within: Duration,
    lateness: Lateness,
    standings: HashMap<UnitId, Standing>,
    open: Option<Open>,
}

/// The latest request, and what has come since.
#[derive(Debug)]
struct Open {
    unit: u8,
    request: Vec<u8>,
    shape: Shape,
    at: Instant,
    /// An answer must be there by then.
    until: Instant,
    answer: Option<Reply>,
    answers: u32,
    has_noise: bool,
}

/// An answer that came directly behind its request.
#[derive(Debug)]
struct Reply {
    pdu: Vec<u8>,
    at: Instant,
    /// No older request can be meant.
    is_sure: bool,
}

impl Pairing {
    pub(super) fn new(
        pace: Pace,
        answer_within: Duration,
        lateness: Lateness,
        now: Instant,
    ) -> Self {
        let mut pairing = Self {
            pace,
            answer_within,
            lateness,
            standings: HashMap::new(),
            open: None,
        };
        for unit in pairing.lateness.keys() {
            let heard_from = pairing.never_after(*unit, LONGEST, now);
            pairing.standings.insert(*unit, Standing::new(heard_from));
        }
        pairing
    }

    /// Takes in what came next.
    pub(super) fn take(&mut self, piece: &Piece, over: &mut Vec<Overheard>) {
        match piece {
            Piece::Frame(frame) => self.frame(frame, over),
            Piece::Noise(noise) => self.noise(noise),
        }
    }

    /// From when on nothing can come that was asked before the listening began.
    pub(super) fn knows_from(&self) -> Instant {
        let known = self
            .standings
            .values()
            .map(|standing| standing.unknown_until);
        known.max().unwrap_or_else(Instant::now)
    }

    /// When the open exchange is over, if nothing more comes.
    pub(super) fn over_at(&self) -> Option<Instant> {
        self.open.as_ref().map(|open| open.until)
    }

    /// When the open exchange began.
    pub(super) fn open_since(&self) -> Option<Instant> {
        self.open.as_ref().map(|open| open.at)
    }

    /// Judges the open exchange.
    pub(super) fn close(&mut self, over: &mut Vec<Overheard>) {
        let Some(open) = self.open.take() else { return };
        let Some(unit) = UnitId::new(open.unit) else {
            return;
        };
        let Some(standing) = self.standings.get_mut(&unit) else {
            return;
        };
        match &open.answer {
            Some(reply) if open.is_regular() => standing.regular(reply.at),
            Some(_) | None => standing.irregular(),
        }
        let Some(asked) = place_of(&open.request) else {
            return;
        };
        let at = open.answer.as_ref().map_or(open.at, |reply| reply.at);
        let took = at - open.at;
        let answered_in = self.wire_time(open.answer.as_ref().map_or(0, |it| it.pdu.len()));
        over.push(Overheard {
            unit,
            asked,
            at,
            took: (took, took.saturating_sub(answered_in)),
            outcome: open.outcome(),
        });
    }

    fn frame(&mut self, frame: &Frame, over: &mut Vec<Overheard>) {
        if self.over_at().is_some_and(|until| frame.at > until) {
            self.close(over);
        }
        let answers = |open: &Open| {
            let is_awaited = open.answers == 0 && open.unit == frame.unit;
            is_awaited && open.shape.may_be(&frame.pdu)
        };
        let is_answer = match frame.side {
            Side::Request => false,
            Side::Answer => true,
            Side::Either => self.open.as_ref().is_some_and(answers),
        };
        if is_answer {
            self.answer(frame);
        } else {
            self.close(over);
            self.request(frame);
        }
    }

    fn request(&mut self, frame: &Frame) {
        let shape = Shape::of_answer_to(&frame.pdu);
        if let Some(unit) = UnitId::new(frame.unit) {
            let until = self.never_after(unit, shape.longest(), frame.at);
            if let Some(standing) = self.standings.get_mut(&unit) {
                standing.asked(shape, until);
            }
        }
        self.open = Some(Open {
            unit: frame.unit,
            request: frame.pdu.clone(),
            shape,
            at: frame.at,
            until: frame.at + self.answer_within + self.wire_time(shape.longest()),
            answer: None,
            answers: 0,
            has_noise: false,
        });
    }

    fn answer(&mut self, frame: &Frame) {
        let standing = UnitId::new(frame.unit).and_then(|unit| self.standings.get_mut(&unit));
        let is_sure = standing.is_some_and(|standing| {
            let is_sure = standing.answered(&frame.pdu, frame.at);
            let is_asked = self.open.as_ref().is_some_and(|it| it.unit == frame.unit);
            if !is_asked {
                standing.irregular();
            }
            is_sure
        });
        let Some(open) = &mut self.open else { return };
        open.answers += 1;
        if open.answers == 1 && open.unit == frame.unit && open.shape.may_be(&frame.pdu) {
            open.answer = Some(Reply {
                pdu: frame.pdu.clone(),
                at: frame.at,
                // What may as well be a request proves nothing.
                is_sure: is_sure && frame.side == Side::Answer,
            });
        }
    }

    fn noise(&mut self, noise: &Noise) {
        if noise.is_stray {
            return;
        }
        if let Some(open) = self.open.as_mut().filter(|open| noise.at <= open.until) {
            open.has_noise = true;
        }
        let units: Vec<UnitId> = self.standings.keys().copied().collect();
        for unit in units {
            let until = self.never_after(unit, LONGEST, noise.at);
            if let Some(standing) = self.standings.get_mut(&unit) {
                standing.may_have_been_asked(1 + noise.length / READ, until);
            }
        }
    }

    /// When the answer to a request that ended `asked_at` can come no more.
    fn never_after(&self, unit: UnitId, answer: usize, asked_at: Instant) -> Instant {
        let late_at_most = self.lateness.get(&unit).copied().unwrap_or_default();
        asked_at + self.answer_within + self.wire_time(answer) + late_at_most
    }

    /// Of a frame with a PDU of so many bytes.
    fn wire_time(&self, pdu: usize) -> Duration {
        self.pace.character * (pdu as u32 + 3)
    }
}

impl Open {
    /// One request, directly behind it one answer of its shape in time, and nothing else.
    fn is_regular(&self) -> bool {
        self.answer.is_some() && self.answers == 1 && !self.has_noise
    }

    fn outcome(self) -> Outcome {
        let is_regular = self.is_regular();
        match self.answer {
            Some(reply) if is_regular && reply.is_sure => match reply.pdu[..] {
                [function, code] if function & REFUSED != 0 => Outcome::Refused(code),
                // Behind function and byte count.
                _ => Outcome::Came(reply.pdu[2..].to_vec()),
            },
            None if self.answers == 0 && self.has_noise => Outcome::Damaged,
            None if self.answers == 0 => Outcome::Missed,
            Some(_) | None => Outcome::Unclear,
        }
    }
}

/// What a request asks for, if it reads.
fn place_of(request: &[u8]) -> Option<Place> {
    let table = match request.first()? {
        0x01 => Table::Coil,
        0x02 => Table::Discrete,
        0x03 => Table::Holding,
        0x04 => Table::Input,
        _ => return None,
    };
    let word = |at: usize| {
        let bytes = request.get(at..at + 2)?;
        Some(u16::from_be_bytes([bytes[0], bytes[1]]))
    };
    Some(Place {
        table,
        address: Address(word(1)?),
        count: word(3)?,
    })
}
