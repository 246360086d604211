//! Finding request frames in a stream of bytes.
//!
//! A serial line marks the end of a frame by silence. A stream from another process does not keep
//! silences, so a request is also known by its shape: for the functions of the standard the length
//! follows from the first bytes, and the check must be right. Silence settles the rest.

use super::crc::is_sealed;

/// Shortest frame: unit, function, check.
const SHORTEST: usize = 4;
/// Longest frame of the standard (Modbus over Serial Line V1.02, 2.5.1).
const LONGEST: usize = 256;

/// Bytes that came and are not yet a frame.
#[derive(Debug, Default)]
pub(crate) struct Frames {
    bytes: Vec<u8>,
}

impl Frames {
    /// Takes in what came.
    pub(crate) fn push(&mut self, bytes: &[u8]) {
        self.bytes.extend_from_slice(bytes);
    }

    /// Whether there is anything that silence could end.
    pub(crate) fn is_empty(&self) -> bool {
        self.bytes.is_empty()
    }

    /// The next request in what came, check included; what stands before it is noise and is gone.
    pub(crate) fn next(&mut self) -> Option<Vec<u8>> {
        let starts = 0..self.bytes.len().saturating_sub(SHORTEST - 1);
        let found = starts
            .filter_map(|start| Some(start..start + request_length(&self.bytes[start..])?))
            .find(|place| is_sealed(&self.bytes[place.clone()]));
        if let Some(place) = found {
            let frame = self.bytes[place.clone()].to_vec();
            self.bytes.drain(..place.end);
            return Some(frame);
        }
        // More than a frame's worth of noise: its beginning cannot belong to a frame any more.
        let excess = self.bytes.len().saturating_sub(2 * LONGEST);
        self.bytes.drain(..excess);
        None
    }

    /// The line has been silent: what is here is a whole frame of a function nobody knows, if its
    /// check is right, or noise. Either way nothing stays.
    pub(crate) fn end(&mut self) -> Option<Vec<u8>> {
        let frame = std::mem::take(&mut self.bytes);
        let whole = (SHORTEST..=LONGEST).contains(&frame.len()) && is_sealed(&frame);
        whole.then_some(frame)
    }
}

/// Length of the request that begins here, check included, if its function is one of the standard
/// and all of it is here.
fn request_length(bytes: &[u8]) -> Option<usize> {
    let length = match bytes.get(1)? {
        1..=6 | 8 => 8,
        15 | 16 => 9 + usize::from(*bytes.get(6)?),
        _ => return None,
    };
    (length <= bytes.len()).then_some(length)
}

#[cfg(test)]
mod tests {
    use super::super::crc::sealed;
    use super::*;

    fn read() -> Vec<u8> {
        sealed(vec![0x01, 0x03, 0x00, 0x00, 0x00, 0x04])
    }

    #[test]
    fn a_request_that_comes_byte_by_byte_is_found_at_its_last_byte() {
        let mut frames = Frames::default();
        let request = read();
        let (last, first) = request.split_last().unwrap();
        for &byte in first {
            frames.push(&[byte]);
            assert_eq!(frames.next(), None);
        }
        frames.push(&[*last]);
        assert_eq!(frames.next(), Some(request));
        assert!(frames.is_empty());
    }

    #[test]
    fn two_requests_in_one_read_are_two_requests() {
        let mut frames = Frames::default();
        let write = sealed(vec![1, 16, 0, 20, 0, 1, 2, 0, 100]);
        frames.push(&[read(), write.clone()].concat());
        assert_eq!(frames.next(), Some(read()));
        assert_eq!(frames.next(), Some(write));
        assert_eq!(frames.next(), None);
    }

    #[test]
    fn noise_before_a_request_is_skipped_and_noise_alone_goes_with_the_silence() {
        let mut frames = Frames::default();
        frames.push(&[0x00, 0xFF, 0x01, 0x03]);
        frames.push(&read());
        assert_eq!(frames.next(), Some(read()));
        frames.push(&[0x01, 0x03, 0x00]);
        assert_eq!(frames.next(), None);
        assert_eq!(frames.end(), None);
        assert!(frames.is_empty());
    }

    #[test]
    fn an_unknown_function_is_a_frame_once_the_line_is_silent() {
        let mut frames = Frames::default();
        let request = sealed(vec![0x01, 0x2B, 0x0E, 0x01, 0x00]);
        frames.push(&request);
        assert_eq!(frames.next(), None);
        assert_eq!(frames.end(), Some(request));
    }

    #[test]
    fn endless_noise_does_not_fill_the_memory() {
        let mut frames = Frames::default();
        for _ in 0..1000 {
            frames.push(&[0x55; 100]);
            assert_eq!(frames.next(), None);
        }
        assert!(frames.bytes.len() <= 2 * LONGEST);
    }
}
