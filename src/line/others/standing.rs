//! Which requests of one unit may still be answered, as far as a listener can know.

use tokio::time::Instant;

use crate::line::sound::REFUSED;

/// So many exchanges in a row, each a request and directly behind it one answer of its shape, say
/// that the unit answers what it is asked and nothing older: a unit that is late once in twenty times
/// is late six times in a row, each time until behind the next request and not longer, less than once
/// in sixty million.
pub(super) const IN_A_ROW: u32 = 6;

/// What can be told of an answer from its shape.
#[derive(Clone, Copy, Debug, PartialEq, Eq)]
pub(super) struct Shape {
    function: u8,
    /// Bytes of the answer's PDU; `None` where the request does not tell.
    length: Option<usize>,
}

impl Shape {
    /// The shape of the answer to this request.
    pub(super) fn of_answer_to(request: &[u8]) -> Self {
        let count = || Some(u16::from_be_bytes([*request.get(3)?, *request.get(4)?]));
        let length = match request[0] {
            0x01 | 0x02 => count().map(|count| 2 + usize::from(count.div_ceil(8))),
            0x03 | 0x04 => count().map(|count| 2 + 2 * usize::from(count)),
            _ => None,
        };
        Self {
            function: request[0],
            length,
        }
    }

    /// Whether this PDU may answer it. A refusal tells nothing but its function.
    pub(super) fn may_be(self, pdu: &[u8]) -> bool {
        let is_refusal = pdu[0] & REFUSED != 0;
        let fits = self.length.is_none_or(|length| length == pdu.len());
        pdu[0] & !REFUSED == self.function && (is_refusal || fits)
    }

    /// Bytes of the longest PDU that may answer it.
    pub(super) fn longest(self) -> usize {
        self.length.unwrap_or(crate::line::sound::LONGEST - 3)
    }
}

#[derive(Clone, Copy, Debug)]
struct Pending {
    /// `None` for a request that was not heard.
    shape: Option<Shape>,
    /// After this its answer never comes.
    until: Instant,
}

/// What is known of one unit. It answers in the order in which it is asked, so an answer is also the
/// end of everything older.
#[derive(Debug)]
pub(super) struct Standing {
    /// Oldest first.
    pending: Vec<Pending>,
    /// Until then nobody knows how much was asked before the listening began.
    pub(super) unknown_until: Instant,
    in_a_row: u32,
    /// The answer heard last, if nothing was asked since: it may be repeated.
    latest: Vec<u8>,
}

impl Standing {
    pub(super) fn new(unknown_until: Instant) -> Self {
        Self {
            pending: Vec::new(),
            unknown_until,
            in_a_row: 0,
            latest: Vec::new(),
        }
    }

    /// A request was heard, which may be answered until `until`.
    pub(super) fn asked(&mut self, shape: Shape, until: Instant) {
        self.latest.clear();
        self.pending.push(Pending {
            shape: Some(shape),
            until,
        });
    }

    /// So many requests may have been sent that were not heard.
    pub(super) fn may_have_been_asked(&mut self, times: usize, until: Instant) {
        let unheard = Pending { shape: None, until };
        self.pending.extend(std::iter::repeat_n(unheard, times));
        self.in_a_row = 0;
    }

    /// An answer was heard. Whether it is certain that the latest request is the one it answers.
    ///
    /// Where it may answer several, it is counted for the oldest of them: then more stays possible
    /// than in any other case. What is equal to the answer before it may be that once more, and is
    /// counted for none.
    pub(super) fn answered(&mut self, pdu: &[u8], now: Instant) -> bool {
        self.pending.retain(|request| request.until >= now);
        if self.latest == pdu {
            return false;
        }
        pdu.clone_into(&mut self.latest);
        if now < self.unknown_until {
            return false;
        }
        let may_be_meant = |request: &Pending| request.shape.is_none_or(|shape| shape.may_be(pdu));
        let Some(oldest) = self.pending.iter().position(may_be_meant) else {
            return false;
        };
        self.pending.drain(..=oldest).all(|it| it.shape.is_some()) && self.pending.is_empty()
    }

    /// A request was answered as it should be.
    pub(super) fn regular(&mut self, now: Instant) {
        self.in_a_row += 1;
        if self.in_a_row >= IN_A_ROW {
            self.pending.clear();
            self.unknown_until = self.unknown_until.min(now);
        }
    }

    /// Something else happened.
    pub(super) fn irregular(&mut self) {
        self.in_a_row = 0;
    }
}
