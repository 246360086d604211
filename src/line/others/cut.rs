//! Cuts what comes from a line into frames and noise.
//!
//! Frames are told by their shape and checksum, one behind the other: adapters hand bytes over in
//! pieces of their own, so that the silence between two frames is seldom seen. A silence that is seen
//! ends whatever stands before it, so that no frame is made of the beginning of one and the end of
//! another.

use std::time::Duration;

use tokio::time::Instant;

use crate::line::frame::checksum_holds;
use crate::line::port::Pace;
use crate::line::sound::{Beginning, LONGEST, REFUSED, SHORTEST, Side, beginning};
use crate::setup::UnitId;

/// A line between two drivers may float: so many bytes without a bit or with all bits are no frame
/// of anybody (common practice, no source).
const STRAYS: usize = 3;
/// Longer than any adapter keeps bytes of one frame back (common practice, no source).
const QUIET: Duration = Duration::from_millis(20);
/// The same through a network.
const QUIET_OVER_TCP: Duration = Duration::from_millis(100);

/// What came, cut.
#[derive(Clone, Debug, PartialEq, Eq)]
pub(crate) enum Piece {
    Frame(Frame),
    Noise(Noise),
}

/// A frame with a right checksum.
#[derive(Clone, Debug, PartialEq, Eq)]
pub(crate) struct Frame {
    pub(crate) unit: u8,
    /// Function and data.
    pub(crate) pdu: Vec<u8>,
    pub(crate) side: Side,
    /// When its last byte came.
    pub(crate) at: Instant,
}

/// Bytes that belong to no sound frame.
#[derive(Clone, Debug, PartialEq, Eq)]
pub(crate) struct Noise {
    pub(crate) length: usize,
    /// Too little for a frame, and nothing but a floating line.
    pub(crate) is_stray: bool,
    pub(crate) at: Instant,
}

impl Frame {
    /// The function, that of a refused request for a refusal.
    pub(crate) fn function(&self) -> u8 {
        self.pdu[0] & !REFUSED
    }
}

/// Cuts bytes as they come.
#[derive(Debug)]
pub(crate) struct Cutter {
    quiet: Duration,
    /// Not cut yet, and when each byte came.
    bytes: Vec<u8>,
    times: Vec<Instant>,
    /// Passed over since the last frame or silence, and when the last of it came.
    noise: Vec<u8>,
    noise_at: Option<Instant>,
}

impl Cutter {
    pub(crate) fn new(pace: Pace) -> Self {
        let usual = if pace.character.is_zero() {
            QUIET_OVER_TCP
        } else {
            QUIET
        };
        Self {
            quiet: usual.max(pace.silence),
            bytes: Vec::new(),
            times: Vec::new(),
            noise: Vec::new(),
            noise_at: None,
        }
    }

    /// Takes in what came at `now`.
    pub(crate) fn take(&mut self, came: &[u8], now: Instant, pieces: &mut Vec<Piece>) {
        self.settle(now, pieces);
        self.bytes.extend_from_slice(came);
        self.times.resize(self.bytes.len(), now);
        self.cut(false, pieces);
    }

    /// When silence will settle what is undecided.
    pub(crate) fn settles_at(&self) -> Option<Instant> {
        self.last().map(|last| last + self.quiet)
    }

    /// When the first undecided byte came.
    pub(crate) fn undecided_since(&self) -> Option<Instant> {
        self.times.first().copied().or(self.noise_at)
    }

    /// If the line has been silent until `now`, nothing stays undecided.
    pub(crate) fn settle(&mut self, now: Instant, pieces: &mut Vec<Piece>) {
        if self.settles_at().is_some_and(|at| now >= at) {
            self.finish(pieces);
        }
    }

    /// Nothing more belongs to what has come.
    pub(crate) fn finish(&mut self, pieces: &mut Vec<Piece>) {
        if self.is_of_an_unknown_function() {
            let noise = std::mem::take(&mut self.noise);
            let at = self.noise_at.take().into_iter();
            self.times.splice(0..0, at.cycle().take(noise.len()));
            self.bytes.splice(0..0, noise);
            self.end_frame(Side::Either, self.bytes.len(), pieces);
        }
        self.cut(true, pieces);
        self.end_noise(pieces);
    }

    fn last(&self) -> Option<Instant> {
        self.times.last().copied().or(self.noise_at)
    }

    fn cut(&mut self, is_over: bool, pieces: &mut Vec<Piece>) {
        while !self.bytes.is_empty() {
            match beginning(&self.bytes) {
                Beginning::Frame(side, length) => self.end_frame(side, length, pieces),
                Beginning::Unfinished if !is_over => return,
                Beginning::Unfinished | Beginning::Nothing => {
                    self.noise.push(self.bytes.remove(0));
                    self.noise_at = Some(self.times.remove(0));
                }
            }
        }
    }

    /// Everything since the last frame or silence, if it ends with its right checksum.
    fn is_of_an_unknown_function(&self) -> bool {
        let whole = [self.noise.as_slice(), &self.bytes].concat();
        let has_length = (SHORTEST..=LONGEST).contains(&whole.len());
        has_length && UnitId::new(whole[0]).is_some() && checksum_holds(&whole)
    }

    fn end_frame(&mut self, side: Side, length: usize, pieces: &mut Vec<Piece>) {
        self.end_noise(pieces);
        let frame: Vec<u8> = self.bytes.drain(..length).collect();
        let at = self.times[length - 1];
        self.times.drain(..length);
        pieces.push(Piece::Frame(Frame {
            unit: frame[0],
            pdu: frame[1..length - 2].to_vec(),
            side,
            at,
        }));
    }

    fn end_noise(&mut self, pieces: &mut Vec<Piece>) {
        let Some(at) = self.noise_at.take() else {
            return;
        };
        let noise = std::mem::take(&mut self.noise);
        let floats = noise.iter().all(|byte| matches!(byte, 0x00 | 0xFF));
        pieces.push(Piece::Noise(Noise {
            length: noise.len(),
            is_stray: noise.len() <= STRAYS && floats,
            at,
        }));
    }
}

#[cfg(test)]
mod tests {
    use super::*;
    use crate::line::frame::{Framing, wrap};
    use crate::setup::{Parity, Port, StopBits};

    fn cutter() -> Cutter {
        Cutter::new(Pace::of(&Port::Serial {
            path: String::new(),
            baud: 9600,
            parity: Parity::Even,
            stop_bits: StopBits::One,
        }))
    }

    fn frame(pdu: &[u8]) -> Vec<u8> {
        wrap(Framing::Rtu, UnitId::new(1).unwrap(), pdu, 0)
    }

    /// The pieces in short: the length of each, noise below zero.
    fn lengths(pieces: &[Piece]) -> Vec<i32> {
        let length = |piece: &Piece| match piece {
            Piece::Frame(frame) => i32::try_from(frame.pdu.len()).unwrap() + 3,
            Piece::Noise(noise) => -i32::try_from(noise.length).unwrap(),
        };
        pieces.iter().map(length).collect()
    }

    #[tokio::test(start_paused = true)]
    async fn frames_without_a_silence_between_them_are_cut_however_they_are_handed_over() {
        let stream = [
            frame(&[3, 0, 0, 0, 2]),
            frame(&[3, 4, 0, 1, 0, 2]),
            vec![0xFF],
            frame(&[3, 0, 0, 0, 2]),
        ]
        .concat();
        for size in 1..=stream.len() {
            let (mut cutter, mut pieces) = (cutter(), Vec::new());
            for chunk in stream.chunks(size) {
                cutter.take(chunk, Instant::now(), &mut pieces);
            }
            assert_eq!(lengths(&pieces), [8, 9, -1, 8], "in pieces of {size}");
            assert_eq!(cutter.undecided_since(), None);
        }
    }

    #[tokio::test(start_paused = true)]
    async fn a_silence_parts_the_beginning_of_one_frame_from_the_end_of_another() {
        let (mut cutter, mut pieces) = (cutter(), Vec::new());
        let whole = frame(&[3, 4, 0, 1, 0, 2]);
        cutter.take(&whole[..5], Instant::now(), &mut pieces);
        assert_eq!(lengths(&pieces), [0; 0]);
        tokio::time::advance(QUIET).await;
        cutter.take(&whole[5..], Instant::now(), &mut pieces);
        cutter.finish(&mut pieces);
        assert_eq!(lengths(&pieces), [-5, -4]);
    }

    #[tokio::test(start_paused = true)]
    async fn strays_of_a_floating_line_are_told_from_noise_that_may_have_been_a_frame() {
        for (bytes, is_stray) in [
            (&[0x00, 0xFF, 0x00][..], true),
            (&[0x00, 0x00, 0x00, 0x00], false),
            (&[0x01], false),
        ] {
            let (mut cutter, mut pieces) = (cutter(), Vec::new());
            cutter.take(bytes, Instant::now(), &mut pieces);
            cutter.finish(&mut pieces);
            let [Piece::Noise(noise)] = &pieces[..] else {
                panic!("{pieces:?}");
            };
            assert_eq!((noise.length, noise.is_stray), (bytes.len(), is_stray));
        }
    }

    #[tokio::test(start_paused = true)]
    async fn a_function_nobody_knows_is_a_frame_between_two_silences() {
        let (mut cutter, mut pieces) = (cutter(), Vec::new());
        cutter.take(
            &frame(&[0x41, 1, 2, 3, 4, 5, 6]),
            Instant::now(),
            &mut pieces,
        );
        tokio::time::advance(QUIET).await;
        cutter.settle(Instant::now(), &mut pieces);
        assert_eq!(lengths(&pieces), [10]);
    }
}
