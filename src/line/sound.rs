//! Sound frames of anybody: where one ends, and whether it asks or answers.
//!
//! Lengths are those of the Modbus application protocol V1.1b3, section 6. Requests for registers
//! are eight bytes long and answers to them always an odd number, so the two cannot be confused. An
//! answer with three bytes of coils or inputs can look like a request for those from address 0x0300
//! on, and an acknowledged write often is its own request.

use super::frame::{checksum_holds, identification_length};

/// Longest frame (Modbus over Serial Line V1.02, 2.5.1).
pub(crate) const LONGEST: usize = 256;
/// Shortest frame: unit, function, checksum.
pub(crate) const SHORTEST: usize = 4;
/// Highest unit number; those above are reserved (Modbus over Serial Line V1.02, 2.2).
const HIGHEST_UNIT: u8 = 247;
/// To all units; only writes make sense, and nobody answers.
pub(crate) const BROADCAST: u8 = 0;
/// Most registers and most bits one read may ask for (6.1 to 6.4).
const MOST_REGISTERS: u16 = 125;
const MOST_BITS: u16 = 2000;
/// Set in the function of a refusal, and the codes of one (7).
pub(crate) const REFUSED: u8 = 0x80;
const CODES: std::ops::RangeInclusive<u8> = 1..=0x0B;

/// Who sent a frame, as far as the frame itself tells.
#[derive(Clone, Copy, Debug, PartialEq, Eq)]
pub(crate) enum Side {
    /// A master.
    Request,
    /// A unit.
    Answer,
    /// Either; what came before must tell.
    Either,
}

/// What some bytes begin with.
#[derive(Clone, Copy, Debug, PartialEq, Eq)]
pub(crate) enum Beginning {
    /// A frame of this many bytes with a right checksum.
    Frame(Side, usize),
    /// Perhaps a frame, of which the end has not come.
    Unfinished,
    /// No frame of the standard.
    Nothing,
}

/// How long a frame must be, by its first bytes.
#[derive(Clone, Copy, Debug, PartialEq, Eq)]
enum Length {
    Is(usize),
    /// Too little has come to tell.
    Untold,
    Impossible,
}

/// What these bytes begin with.
pub(crate) fn beginning(bytes: &[u8]) -> Beginning {
    match bytes {
        [unit, ..] if *unit > HIGHEST_UNIT => Beginning::Nothing,
        [] | [_] => Beginning::Unfinished,
        [unit, function, ..] => {
            let lengths = [
                request_length(*unit, *function, bytes),
                answer_length(*unit, *function, bytes),
            ];
            of_lengths(lengths, bytes)
        }
    }
}

/// `lengths` are those of a request and of an answer.
fn of_lengths(lengths: [Length; 2], bytes: &[u8]) -> Beginning {
    let is_sound = |length: &usize| bytes.get(..*length).is_some_and(checksum_holds);
    match lengths.map(|length| length.told().filter(is_sound)) {
        [Some(request), Some(answer)] if request == answer => {
            Beginning::Frame(Side::Either, request)
        }
        [Some(request), None] => Beginning::Frame(Side::Request, request),
        [None, Some(answer)] => Beginning::Frame(Side::Answer, answer),
        [None, None] if lengths.iter().any(|it| it.may_come(bytes.len())) => Beginning::Unfinished,
        // Of two lengths one is right by chance, and nobody can say which.
        [Some(_), Some(_)] | [None, None] => Beginning::Nothing,
    }
}

impl Length {
    fn told(self) -> Option<usize> {
        match self {
            Self::Is(length) => Some(length),
            Self::Untold | Self::Impossible => None,
        }
    }

    /// Whether a frame of this length may be there once more than `present` bytes have come.
    fn may_come(self, present: usize) -> bool {
        match self {
            Self::Is(length) => length > present && length <= LONGEST,
            Self::Untold => present < LONGEST,
            Self::Impossible => false,
        }
    }
}

fn request_length(unit: u8, function: u8, bytes: &[u8]) -> Length {
    let is_write = matches!(function, 0x05 | 0x06 | 0x0F | 0x10);
    match function {
        _ if unit == BROADCAST && !is_write => Length::Impossible,
        0x01 | 0x02 if !may_ask_for(MOST_BITS, bytes) => Length::Impossible,
        0x03 | 0x04 if !may_ask_for(MOST_REGISTERS, bytes) => Length::Impossible,
        0x01..=0x06 | 0x08 => Length::Is(8),
        0x07 | 0x0B | 0x0C | 0x11 => Length::Is(4),
        0x0F | 0x10 => counted(bytes, 6, 9),
        0x14 | 0x15 => counted(bytes, 2, 5),
        0x16 => Length::Is(10),
        0x17 => counted(bytes, 10, 13),
        0x18 => Length::Is(6),
        0x2B => Length::Is(7),
        _ => Length::Impossible,
    }
}

/// Whether the count of a read is one the standard allows, as far as it has come.
fn may_ask_for(most: u16, bytes: &[u8]) -> bool {
    let count = bytes.get(4..6).map(|it| u16::from_be_bytes([it[0], it[1]]));
    count.is_none_or(|count| (1..=most).contains(&count))
}

fn answer_length(unit: u8, function: u8, bytes: &[u8]) -> Length {
    let third = bytes.get(2).copied();
    match function {
        _ if unit == BROADCAST => Length::Impossible,
        0x01..=0x04 if third == Some(0) => Length::Impossible,
        // Registers have two bytes each.
        0x03 | 0x04 if third.is_some_and(|count| count % 2 == 1) => Length::Impossible,
        0x01..=0x04 | 0x0C | 0x11 | 0x14 | 0x15 | 0x17 => counted(bytes, 2, 5),
        0x05 | 0x06 | 0x08 | 0x0B | 0x0F | 0x10 => Length::Is(8),
        0x07 => Length::Is(5),
        0x16 => Length::Is(10),
        0x18 => bytes.get(2..4).map_or(Length::Untold, |it| {
            Length::Is(6 + usize::from(u16::from_be_bytes([it[0], it[1]])))
        }),
        0x2B => {
            let pdu = identification_length(&bytes[1..]);
            pdu.map_or(Length::Untold, |length| Length::Is(length + 3))
        }
        _ if function > REFUSED && third.is_none_or(|code| CODES.contains(&code)) => Length::Is(5),
        _ => Length::Impossible,
    }
}

/// A frame with `beside` bytes and those that the byte at `at` counts.
fn counted(bytes: &[u8], at: usize, beside: usize) -> Length {
    let count = bytes.get(at).copied();
    count.map_or(Length::Untold, |count| {
        Length::Is(beside + usize::from(count))
    })
}

#[cfg(test)]
mod tests {
    use super::*;
    use crate::line::frame::{Framing, wrap};
    use crate::setup::UnitId;

    fn frame(pdu: &[u8]) -> Vec<u8> {
        wrap(Framing::Rtu, UnitId::new(17).unwrap(), pdu, 0)
    }

    #[test]
    fn requests_and_answers_of_the_standard_are_told_apart_by_their_shape() {
        use Side::{Answer, Either, Request};
        for (side, pdu) in [
            (Request, &[0x03, 0, 0x6B, 0, 3][..]),
            (Answer, &[0x03, 6, 2, 0x2B, 0, 0, 0, 0x64]),
            (Request, &[0x01, 0, 0x13, 0, 0x13]),
            (Answer, &[0x01, 2, 0xCD, 0x6B]),
            // The third byte of coils makes a count of 27,397: no request asks for that.
            (Answer, &[0x01, 3, 0xCD, 0x6B, 5]),
            (Either, &[0x01, 3, 0xCD, 0, 5]),
            (Either, &[0x06, 0, 1, 0, 3]),
            (Request, &[0x10, 0, 1, 0, 2, 4, 0, 0x0A, 1, 2]),
            (Answer, &[0x10, 0, 1, 0, 2]),
            (Answer, &[0x83, 2]),
            (Request, &[0x2B, 0x0E, 1, 0]),
            (Answer, &[0x18, 0, 4, 0, 1, 1, 0xB8]),
        ] {
            let frame = frame(pdu);
            assert_eq!(
                beginning(&frame),
                Beginning::Frame(side, frame.len()),
                "{pdu:02X?}"
            );
            // And whatever stands behind it.
            let more = [frame.as_slice(), &[0x11, 0x03]].concat();
            assert_eq!(
                beginning(&more),
                Beginning::Frame(side, frame.len()),
                "{pdu:02X?}"
            );
            for cut in 0..frame.len() {
                let early = beginning(&frame[..cut]);
                assert_eq!(early, Beginning::Unfinished, "{pdu:02X?} cut at {cut}");
            }
        }
    }

    /// Found on a line of the certainty trial: an answer of unit 3 with two registers, and by chance
    /// a request for 117 from 0x0410 on.
    #[test]
    fn what_is_both_a_request_and_a_longer_answer_is_neither() {
        let answer = [3, 3, 4, 0x10, 0, 0x75, 0x85, 0x3A, 0];
        assert!(checksum_holds(&answer) && checksum_holds(&answer[..8]));
        assert_eq!(beginning(&answer), Beginning::Nothing);
    }

    #[test]
    fn what_cannot_be_a_frame_is_known_as_soon_as_it_can_be() {
        for bytes in [
            &[0xFF][..],
            &[0x00, 0x03],
            &[0x11, 0x41],
            &[0x11, 0x83, 0x2A],
            &[0x11, 0x03, 3, 0, 0, 0xFF],
        ] {
            assert_eq!(beginning(bytes), Beginning::Nothing, "{bytes:02X?}");
        }
        let mut damaged = frame(&[0x03, 2, 0, 1]);
        damaged[4] ^= 1;
        assert_eq!(beginning(&[damaged, vec![0]].concat()), Beginning::Nothing);
    }
}
