//! Somebody else on the line: a panel or a PLC that polls the same units.
//!
//! Two masters spoil each other, so a line is listened to before the first frame ([`first`]). Where
//! somebody talks there, the units can still be read without sending a byte: from the requests of the
//! other master and the answers to them ([`Ear`]).
//!
//! An answer is credited to a request only if
//!
//! * it is a checksum-valid frame of the exact shape the request implies (unit, function, byte count),
//! * it stands directly behind that request, in time, and no second one before the next request: no
//!   other frame between, and no bytes that may have been one (three bytes of a line that floats
//!   between two drivers are none),
//! * no older request can be meant. A request that was not answered may be answered until
//!   `late_at_most` after its time. So may one that was not heard: any number of them from before the
//!   listening began, and wherever noise was as many as it has room for. An answer that fits such a
//!   request too is dropped. An answer that fits one request alone ends everything older, because a
//!   unit answers in the order in which it is asked.
//!
//! A listener cannot fence: it cannot ask anything to be sure. If the other master asks for blocks of
//! one length only, and sooner than `late_at_most` again, a single lost answer would leave a doubt for
//! ever. The doubt is given up after six exchanges in a row without anything irregular.
//!
//! Where the guarantee ends: all that is said of answers in [`exchange`](super::exchange) (a unit that
//! answers out of order, or later than its map says; a corruption that passes the checksum; two units
//! with one number); a unit that is late again and again by the time to the next request, which the
//! other master takes for prompt answers as well; and a request of which nothing, or not more than a
//! floating line gives, came through to us.
//!
//! What another master writes is no reading: a controller may limit a value it has acknowledged, or
//! show something else in that register. A value of several registers is taken from one answer alone.

mod census;
mod cut;
mod ear;
mod fill;
pub(super) mod first;
mod lacks;
mod pairing;
mod standing;

pub(super) use ear::Ear;
pub(super) use fill::{polled, put_latest, row};
pub(super) use lacks::Heard;
pub(super) use pairing::Overheard;

use std::time::Duration;

/// How a line treats others on it.
#[derive(Clone, Copy, Debug, PartialEq, Eq)]
pub enum Manner {
    /// Asks at once.
    Ask,
    /// Asks if nobody else was heard for so long. Behind a gateway nobody can be heard: it keeps the
    /// bytes of others to itself.
    ListenFirst(Duration),
    /// Takes what others ask and are answered; sends nothing.
    ListenOnly,
}

#[cfg(test)]
mod tests;
