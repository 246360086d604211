//! How long things take on the wire.

use std::time::Duration;

/// Bits of one character on an RTU line, start, parity and stop included (Modbus over Serial Line
/// V1.02, 2.5.1).
const BITS_PER_CHARACTER: f64 = 11.0;

/// Silence that ends a frame above 19,200 baud (Modbus over Serial Line V1.02, 2.5.1.1).
const SHORTEST_SILENCE: Duration = Duration::from_micros(1750);

/// Silence that ends a frame where characters take no time: a stream hands over whole writes, and
/// the operating system may come late with the second half of one.
const STREAM_SILENCE: Duration = Duration::from_millis(20);

/// How long an answer takes.
#[derive(Clone, Copy, Debug, Default, PartialEq, Eq)]
pub struct Timing {
    /// From the end of the request to the start of the answer.
    pub turnaround: Duration,
    /// Time of one character on the wire; zero on a wire that takes none.
    pub character: Duration,
}

impl Timing {
    /// A wire at `baud` and units that need `turnaround`.
    pub fn at_baud(baud: u32, turnaround: Duration) -> Self {
        Self {
            turnaround,
            character: Duration::from_secs_f64(BITS_PER_CHARACTER / f64::from(baud.max(1))),
        }
    }

    /// From the arrival of a request's bytes to the start of its answer: whoever writes to a stream
    /// hands over all bytes at once, so their time on the wire is spent here.
    pub fn until_asked(&self, request: usize) -> Duration {
        self.on_the_wire(request) + self.turnaround
    }

    /// Time of this many bytes on the wire.
    pub fn on_the_wire(&self, bytes: usize) -> Duration {
        self.character * bytes as u32
    }

    /// Silence that ends a frame: 3.5 characters.
    pub fn silence(&self) -> Duration {
        if self.character.is_zero() {
            STREAM_SILENCE
        } else {
            (self.character * 7 / 2).max(SHORTEST_SILENCE)
        }
    }
}

#[cfg(test)]
mod tests {
    use super::*;

    /// Closed form: 8 + 7 characters of 11 bits at 9600 baud, and 2.5.1.1's 4.01 ms of silence.
    #[test]
    fn at_9600_baud_reading_a_register_takes_17_ms_and_the_turnaround() {
        let timing = Timing::at_baud(9600, Duration::from_millis(5));
        let until = (timing.until_asked(8) + timing.on_the_wire(7)).as_secs_f64();
        assert!((until - (0.005 + 15.0 * 11.0 / 9600.0)).abs() < 1e-6);
        assert!((timing.silence().as_secs_f64() - 0.004_010_4).abs() < 1e-6);
    }

    #[test]
    fn above_19200_baud_the_silence_stays_at_1_75_ms() {
        let timing = Timing::at_baud(115_200, Duration::ZERO);
        assert_eq!(timing.silence(), SHORTEST_SILENCE);
    }
}
