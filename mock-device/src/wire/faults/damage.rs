//! What can be done to bytes.

use rand::RngExt;
use rand_chacha::ChaCha8Rng;

use crate::wire::crc::{is_sealed, sealed};

/// Exception 06, server device busy (Modbus application protocol V1.1b3, 7).
pub(super) const BUSY: u8 = 0x06;

/// Longest burst that CRC-16 catches without fail, bits.
const LONGEST_BURST: u32 = 16;

/// Most scattered bits that this CRC catches without fail in frames of this length.
const MOST_FLIPS: u32 = 3;

/// Flips one to three bits, or a burst of up to 16 in the order in which they are sent (the least
/// significant bit of a byte first).
pub(super) fn corrupt(frame: &mut [u8], random: &mut ChaCha8Rng) {
    let bits = frame.len() as u32 * 8;
    if bits == 0 {
        return;
    }
    if random.random_bool(0.5) {
        let first = random.random_range(0..bits);
        flip(frame, first);
        for _ in 1..random.random_range(1..=MOST_FLIPS) {
            // Never the first one again: two flips of one bit are no damage.
            flip(frame, (first + random.random_range(1..bits)) % bits);
        }
    } else {
        let length = random.random_range(1..=LONGEST_BURST.min(bits));
        let first = random.random_range(0..=bits - length);
        flip(frame, first);
        for bit in 1..length {
            if random.random_bool(0.5) {
                flip(frame, first + bit);
            }
        }
    }
}

fn flip(frame: &mut [u8], bit: u32) {
    frame[bit as usize / 8] ^= 1 << (bit % 8);
}

/// Cuts at least one byte off the end and leaves at least one. What remains has a wrong check.
pub(super) fn truncate(frame: &mut Vec<u8>, random: &mut ChaCha8Rng) {
    if frame.len() > 1 {
        frame.truncate(random.random_range(1..frame.len()));
    }
    while is_sealed(frame) {
        frame.pop();
    }
}

/// One to twelve random bytes.
pub(super) fn noise(random: &mut ChaCha8Rng) -> Vec<u8> {
    let length = random.random_range(1..=12);
    (0..length).map(|_| random.random()).collect()
}

/// The same answer from the next unit, with a right check.
pub(super) fn foreign(answer: &[u8]) -> Vec<u8> {
    let mut body = answer[..answer.len().saturating_sub(2)].to_vec();
    if let Some(unit) = body.first_mut() {
        *unit = *unit % 247 + 1;
    }
    sealed(body)
}
