//! Frames: how a request goes onto the wire, and which bytes are its answer.
//!
//! An answer is recognised by the exact shape its request implies (unit, function, byte count; the
//! full echo for writes and diagnostics) and, in RTU framing, by its checksum. Everything else is
//! skipped, wherever in the stream it stands.
//!
//! One answer tells its own length: device identification (function 43/14), a list of texts. Its
//! shape is the unit, the function, the kind of list asked for and lengths that add up; no answer to
//! another function looks like it, but two requests for one kind of list cannot be told apart.

use crc::{CRC_16_MODBUS, Crc};
use tokio_modbus::{ExceptionCode, Request};

use super::Failure;
use super::sound::{Beginning, beginning};
use crate::setup::UnitId;

/// Modbus over Serial Line V1.02, 6.2.2: polynomial A001 (reflected), start FFFF, low byte first.
const CHECKSUM: Crc<u16> = Crc::<u16>::new(&CRC_16_MODBUS);

/// Function 43, and its kind 14: read device identification (Modbus application protocol V1.1b3,
/// 6.21).
const IDENTIFICATION: u8 = 0x2B;
const IDENTIFICATION_KIND: u8 = 0x0E;
/// Longest PDU of the standard (4.1).
const LONGEST_PDU: usize = 253;

/// How requests and answers are wrapped.
#[derive(Clone, Copy, Debug, PartialEq, Eq)]
pub(crate) enum Framing {
    /// Unit, PDU, checksum (Modbus over Serial Line V1.02, 2.5.1).
    Rtu,
    /// Transaction, protocol, length, unit, PDU (Modbus messaging on TCP/IP V1.0b, 3.1.3).
    Tcp,
}

/// The shape of the one frame that can answer a request.
#[derive(Clone, Debug, PartialEq, Eq)]
pub(crate) struct Expected {
    unit: u8,
    function: u8,
    /// Bytes that must follow the function code.
    prefix: Vec<u8>,
    /// Bytes of the whole answer PDU; at most so many where it tells its own length.
    length: usize,
    transaction: u16,
}

/// What a stretch of received bytes is, with regard to an expected answer.
#[derive(Clone, Debug, PartialEq, Eq)]
pub(crate) enum Heard {
    /// The answer's PDU.
    Answer(Vec<u8>),
    /// The expected unit refused the expected function with this code.
    Exception(u8),
}

/// A gateway's own exceptions (Modbus application protocol V1.1b3, section 7): path unavailable, and
/// target device failed to respond. The unit may still answer.
pub(super) const GATEWAYS: [u8; 2] = [0x0A, 0x0B];

impl Heard {
    /// Whether the unit said it, and not a gateway for it.
    pub(crate) fn is_the_units_own(&self) -> bool {
        !matches!(self, Self::Exception(code) if GATEWAYS.contains(code))
    }
}

/// A frame of somebody else, met while waiting.
#[derive(Clone, Copy, Debug, PartialEq, Eq)]
pub(crate) struct Stranger {
    pub(crate) unit: u8,
    pub(crate) function: u8,
}

/// The PDU of a request; only what Emberline sends.
///
/// # Errors
/// A function this program has no use for is refused as a unit would refuse it.
pub(crate) fn request_pdu(request: &Request<'_>) -> Result<Vec<u8>, Failure> {
    let words = |function: u8, first: u16, second: u16| {
        let ([a, b], [c, d]) = (first.to_be_bytes(), second.to_be_bytes());
        vec![function, a, b, c, d]
    };
    Ok(match request {
        Request::ReadCoils(address, count) => words(0x01, *address, *count),
        Request::ReadDiscreteInputs(address, count) => words(0x02, *address, *count),
        Request::ReadHoldingRegisters(address, count) => words(0x03, *address, *count),
        Request::ReadInputRegisters(address, count) => words(0x04, *address, *count),
        Request::WriteSingleCoil(address, on) => {
            words(0x05, *address, if *on { 0xFF00 } else { 0 })
        }
        Request::WriteSingleRegister(address, word) => words(0x06, *address, *word),
        Request::WriteMultipleCoils(address, values) => {
            let mut pdu = words(0x0F, *address, values.len() as u16);
            pdu.push(values.len().div_ceil(8) as u8);
            pdu.extend(values.chunks(8).map(packed));
            pdu
        }
        Request::WriteMultipleRegisters(address, values) => {
            let mut pdu = words(0x10, *address, values.len() as u16);
            pdu.push(2 * values.len() as u8);
            pdu.extend(values.iter().flat_map(|word| word.to_be_bytes()));
            pdu
        }
        Request::ReadDeviceIdentification(code, object) => {
            vec![IDENTIFICATION, IDENTIFICATION_KIND, code.value(), *object]
        }
        Request::Custom(function, data) => [&[*function], data.as_ref()].concat(),
        _ => return Err(Failure::Refused(ExceptionCode::IllegalFunction.into())),
    })
}

/// Eight bits in a byte, the first in the lowest place.
fn packed(bits: &[bool]) -> u8 {
    bits.iter()
        .rev()
        .fold(0, |byte, on| byte << 1 | u8::from(*on))
}

impl Expected {
    /// The shape that answers `pdu` when it is sent to `unit`.
    pub(crate) fn of(unit: UnitId, pdu: &[u8], transaction: u16) -> Self {
        let function = pdu[0];
        let count = || u16::from_be_bytes([pdu[3], pdu[4]]);
        let read = |byte_count: u16| (vec![byte_count as u8], 2 + usize::from(byte_count));
        let (prefix, length) = match function {
            0x01 | 0x02 => read(count().div_ceil(8)),
            0x03 | 0x04 => read(2 * count()),
            0x0F | 0x10 => (pdu[1..5].to_vec(), 5),
            IDENTIFICATION => (pdu[1..3].to_vec(), LONGEST_PDU),
            _ => (pdu[1..].to_vec(), pdu.len()),
        };
        Self {
            unit: unit.get(),
            function,
            prefix,
            length,
            transaction,
        }
    }

    /// Whether the request only reads: then no answer to it is equal to it.
    pub(crate) fn answers_a_read(&self) -> bool {
        matches!(self.function, 0x01..=0x04)
    }

    /// Bytes of the whole frame in this framing, at most.
    pub(crate) fn frame_length(&self, framing: Framing) -> usize {
        match framing {
            Framing::Rtu => self.length + 3,
            Framing::Tcp => self.length + 7,
        }
    }

    /// The answer among `received`, at any offset, if it is complete.
    pub(crate) fn find(&self, framing: Framing, received: &[u8]) -> Option<Heard> {
        match framing {
            Framing::Rtu => {
                (0..received.len()).find_map(|offset| self.match_rtu(&received[offset..]))
            }
            Framing::Tcp => tcp_frames(received)
                .filter(|frame| frame.transaction == self.transaction && frame.unit == self.unit)
                .find_map(|frame| self.match_pdu(frame.pdu)),
        }
    }

    fn match_rtu(&self, bytes: &[u8]) -> Option<Heard> {
        let (&unit, rest) = bytes.split_first()?;
        if unit != self.unit {
            return None;
        }
        let length = self.pdu_length(rest)?;
        let pdu = rest.get(..length)?;
        let heard = self.match_pdu(pdu)?;
        checksum_holds(bytes.get(..length + 3)?).then_some(heard)
    }

    /// Bytes of the answer PDU that begins here; `None` while too little has come to tell.
    fn pdu_length(&self, bytes: &[u8]) -> Option<usize> {
        match *bytes.first()? {
            refused if refused == self.function | 0x80 => Some(2),
            _ if self.function == IDENTIFICATION => identification_length(bytes),
            _ => Some(self.length),
        }
    }

    fn match_pdu(&self, pdu: &[u8]) -> Option<Heard> {
        match pdu {
            [function, code] if *function == self.function | 0x80 => Some(Heard::Exception(*code)),
            [function, rest @ ..]
                if *function == self.function
                    && self.pdu_length(pdu) == Some(pdu.len())
                    && rest.starts_with(&self.prefix) =>
            {
                Some(Heard::Answer(pdu.to_vec()))
            }
            _ => None,
        }
    }

    /// A sound frame among `received` that another unit or another function sent.
    pub(crate) fn find_stranger(&self, framing: Framing, received: &[u8]) -> Option<Stranger> {
        let is_other = |it: &Stranger| it.unit != self.unit || it.function & 0x7F != self.function;
        match framing {
            Framing::Rtu => strangers(received).find(is_other),
            Framing::Tcp => tcp_frames(received)
                .filter_map(|frame| {
                    Some(Stranger {
                        unit: frame.unit,
                        function: *frame.pdu.first()?,
                    })
                })
                .find(is_other),
        }
    }
}

/// The frame that carries `pdu` to `unit`.
pub(crate) fn wrap(framing: Framing, unit: UnitId, pdu: &[u8], transaction: u16) -> Vec<u8> {
    match framing {
        Framing::Rtu => {
            let mut frame = [&[unit.get()], pdu].concat();
            frame.extend(CHECKSUM.checksum(&frame).to_le_bytes());
            frame
        }
        Framing::Tcp => {
            let [t1, t0] = transaction.to_be_bytes();
            let [l1, l0] = (pdu.len() as u16 + 1).to_be_bytes();
            [&[t1, t0, 0, 0, l1, l0, unit.get()], pdu].concat()
        }
    }
}

/// Every RTU frame with a right checksum among `received`, whoever sent it.
pub(crate) fn strangers(received: &[u8]) -> impl Iterator<Item = Stranger> {
    (0..received.len()).filter_map(|at| stranger(&received[at..]))
}

/// Who sent the sound RTU frame that `bytes` begin with.
fn stranger(bytes: &[u8]) -> Option<Stranger> {
    let is_frame = matches!(beginning(bytes), Beginning::Frame(..));
    let (unit, function) = (*bytes.first()?, *bytes.get(1)?);
    is_frame.then_some(Stranger { unit, function })
}

/// Whether a frame ends with its right checksum.
pub(crate) fn checksum_holds(frame: &[u8]) -> bool {
    let Some((body, sum)) = frame.split_last_chunk::<2>() else {
        return false;
    };
    CHECKSUM.checksum(body).to_le_bytes() == *sum
}

/// Bytes of the device identification PDU that begins here: seven of head, the last the number of
/// texts, then each with its number and length; `None` while too little has come, or if it would be
/// longer than any PDU.
pub(crate) fn identification_length(pdu: &[u8]) -> Option<usize> {
    let objects = *pdu.get(6)?;
    (0..objects)
        .try_fold(7, |end, _| Some(end + 2 + usize::from(*pdu.get(end + 1)?)))
        .filter(|length| *length <= LONGEST_PDU)
}

struct TcpFrame<'a> {
    transaction: u16,
    unit: u8,
    pdu: &'a [u8],
}

/// The complete frames at the start of a TCP stream; ends at the first that is none.
fn tcp_frames(mut bytes: &[u8]) -> impl Iterator<Item = TcpFrame<'_>> {
    std::iter::from_fn(move || {
        let header = bytes.first_chunk::<7>()?;
        let length = usize::from(u16::from_be_bytes([header[4], header[5]]));
        if header[2] != 0 || header[3] != 0 || !(2..=254).contains(&length) {
            return None;
        }
        let pdu = bytes.get(7..6 + length)?;
        let frame = TcpFrame {
            transaction: u16::from_be_bytes([header[0], header[1]]),
            unit: header[6],
            pdu,
        };
        bytes = &bytes[6 + length..];
        Some(frame)
    })
}

#[cfg(test)]
mod tests {
    use std::borrow::Cow;

    use tokio_modbus::Response;
    use tokio_modbus::bytes::Bytes;
    use tokio_modbus::prelude::ReadCode;

    use super::*;

    /// Request, request PDU and answer PDU of the worked examples in section 6 of the Modbus
    /// application protocol specification V1.1b3 (typed from memory of it; decoded and re-encoded
    /// by pymodbus 3.16.1), with the checksum of the RTU frames for unit 17.
    fn worked_examples() -> Vec<(Request<'static>, &'static str, &'static str)> {
        use Request::*;
        let bits = [
            true, false, true, true, false, false, true, true, true, false,
        ];
        vec![
            (
                ReadCoils(0x13, 0x13),
                "11 01 00 13 00 13 8E 92",
                "11 01 03 CD 6B 05 40 12",
            ),
            (
                ReadDiscreteInputs(0xC4, 0x16),
                "11 02 00 C4 00 16 BA A9",
                "11 02 03 AC DB 35 20 18",
            ),
            (
                ReadHoldingRegisters(0x6B, 3),
                "11 03 00 6B 00 03 76 87",
                "11 03 06 02 2B 00 00 00 64 C8 BA",
            ),
            (
                ReadInputRegisters(8, 1),
                "11 04 00 08 00 01 B2 98",
                "11 04 02 00 0A F8 F4",
            ),
            (
                WriteSingleCoil(0xAC, true),
                "11 05 00 AC FF 00 4E 8B",
                "11 05 00 AC FF 00 4E 8B",
            ),
            (
                WriteSingleRegister(1, 3),
                "11 06 00 01 00 03 9A 9B",
                "11 06 00 01 00 03 9A 9B",
            ),
            (
                WriteMultipleCoils(0x13, Cow::Owned(bits.to_vec())),
                "11 0F 00 13 00 0A 02 CD 01 BF 0B",
                "11 0F 00 13 00 0A 26 99",
            ),
            (
                WriteMultipleRegisters(1, Cow::Owned(vec![0x000A, 0x0102])),
                "11 10 00 01 00 02 04 00 0A 01 02 C6 F0",
                "11 10 00 01 00 02 12 98",
            ),
        ]
    }

    fn bytes(hex: &str) -> Vec<u8> {
        hex.split(' ')
            .map(|byte| u8::from_str_radix(byte, 16).unwrap())
            .collect()
    }

    fn unit() -> UnitId {
        UnitId::new(0x11).unwrap()
    }

    #[test]
    fn worked_examples_of_the_standard_come_out_byte_for_byte() {
        for (request, sent, _) in worked_examples() {
            let pdu = request_pdu(&request).unwrap();
            assert_eq!(
                wrap(Framing::Rtu, unit(), &pdu, 0),
                bytes(sent),
                "{request:?}"
            );
        }
    }

    #[test]
    fn an_answer_is_found_behind_garbage_and_never_before_it_is_whole() {
        for (request, _, answer) in worked_examples() {
            let expected = Expected::of(unit(), &request_pdu(&request).unwrap(), 0);
            let answer = bytes(answer);
            let stream = [&[0x00, 0x11, 0x7F], answer.as_slice()].concat();
            let pdu = answer[1..answer.len() - 2].to_vec();
            assert_eq!(
                expected.find(Framing::Rtu, &stream),
                Some(Heard::Answer(pdu))
            );
            assert_eq!(expected.frame_length(Framing::Rtu), answer.len());
            for cut in 0..answer.len() {
                assert_eq!(
                    expected.find(Framing::Rtu, &answer[..cut]),
                    None,
                    "{request:?} cut at {cut}"
                );
            }
        }
    }

    /// Decoded by tokio-modbus: the texts that were put in come out.
    #[test]
    fn an_identification_tells_its_own_length_and_is_never_found_before_it_is_whole() {
        let request = Request::ReadDeviceIdentification(ReadCode::Basic, 0);
        let asked = request_pdu(&request).unwrap();
        assert_eq!(asked, [0x2B, 0x0E, 0x01, 0x00]);
        let expected = Expected::of(unit(), &asked, 0);
        let head = [0x2B, 0x0E, 0x01, 0x01, 0x00, 0x00, 0x02];
        let pdu = [&head[..], b"\x00\x05Glass\x02\x05V2.11"].concat();
        let frame = wrap(Framing::Rtu, unit(), &pdu, 0);
        assert_eq!(
            expected.find(Framing::Rtu, &[&[0x11, 0x2B], frame.as_slice()].concat()),
            Some(Heard::Answer(pdu.clone()))
        );
        for cut in 0..frame.len() {
            assert_eq!(expected.find(Framing::Rtu, &frame[..cut]), None, "{cut}");
        }
        let Ok(Response::ReadDeviceIdentification(told)) = Response::try_from(Bytes::from(pdu))
        else {
            panic!("tokio-modbus cannot read it");
        };
        let texts: Vec<_> = told
            .device_id_objects
            .iter()
            .map(|it| it.value_as_str())
            .collect();
        assert_eq!(texts, [Some("Glass"), Some("V2.11")]);
        // Somebody else's is known as such, and lengths beyond any PDU are no frame.
        let other = Expected::of(unit(), &[0x03, 0, 0, 0, 1], 0);
        let stranger = Stranger {
            unit: 0x11,
            function: 0x2B,
        };
        assert_eq!(other.find_stranger(Framing::Rtu, &frame), Some(stranger));
        let endless = wrap(Framing::Rtu, unit(), &[&head[..], &[0xFF; 249]].concat(), 0);
        assert_eq!(expected.find(Framing::Rtu, &endless), None);
    }

    #[test]
    fn any_single_flipped_bit_hides_the_answer() {
        for (request, _, answer) in worked_examples() {
            let expected = Expected::of(unit(), &request_pdu(&request).unwrap(), 0);
            for bit in 0..8 * bytes(answer).len() {
                let mut damaged = bytes(answer);
                damaged[bit / 8] ^= 1 << (bit % 8);
                assert_eq!(
                    expected.find(Framing::Rtu, &damaged),
                    None,
                    "{request:?} bit {bit}"
                );
            }
        }
    }

    #[test]
    fn an_exception_is_heard_with_its_code() {
        let expected = Expected::of(unit(), &[0x03, 0, 0, 0, 1], 0);
        let refusal = wrap(Framing::Rtu, unit(), &[0x83, 0x02], 0);
        assert_eq!(
            expected.find(Framing::Rtu, &refusal),
            Some(Heard::Exception(2))
        );
    }

    #[test]
    fn another_units_answer_is_a_stranger() {
        let expected = Expected::of(unit(), &[0x03, 0, 0, 0, 1], 0);
        let other = wrap(Framing::Rtu, UnitId::new(9).unwrap(), &[0x03, 2, 0, 7], 0);
        assert_eq!(expected.find(Framing::Rtu, &other), None);
        let stranger = Stranger {
            unit: 9,
            function: 3,
        };
        assert_eq!(expected.find_stranger(Framing::Rtu, &other), Some(stranger));
    }

    #[test]
    fn a_tcp_answer_with_an_old_transaction_number_is_not_the_answer() {
        let expected = Expected::of(unit(), &[0x03, 0, 0, 0, 1], 7);
        let old = wrap(Framing::Tcp, unit(), &[0x03, 2, 0, 1], 6);
        let new = wrap(Framing::Tcp, unit(), &[0x03, 2, 0, 2], 7);
        assert_eq!(expected.find(Framing::Tcp, &old), None);
        let heard = expected.find(Framing::Tcp, &[old, new].concat());
        assert_eq!(heard, Some(Heard::Answer(vec![0x03, 2, 0, 2])));
    }

    #[test]
    fn the_serial_line_documents_checksum_example_holds() {
        // Modbus over Serial Line V1.02, 6.2.2: the frame 02 07 is sent with 41 12 behind it.
        assert_eq!(CHECKSUM.checksum(&[0x02, 0x07]).to_le_bytes(), [0x41, 0x12]);
    }
}
