//! One request, one certain answer or one named reason.
//!
//! RTU has no transaction number: the only thing that ties an answer to its request is its shape and
//! its time. What is kept here:
//!
//! * An answer is accepted only as a checksum-valid frame of the exact shape the request implies, at
//!   any offset in what was received; everything else is skipped ([`Expected`]).
//! * Before a request goes out the line must have been silent for 3.5 characters, and whatever came
//!   unasked is thrown away.
//! * From the moment a request goes out until its answer has come the unit is *suspect*: a late
//!   answer may be on its way. A future that is dropped half-way leaves it so. A suspect unit is asked
//!   nothing before a fence has passed: a diagnostics echo (function 08) with a number never used
//!   before, which a unit that answers in order can only return after everything older; or, where the
//!   unit refuses that function or ignores it, until `late_at_most` after its last request.
//! * A fence is used only where the adapter was seen not to echo requests, because such an echo looks
//!   like the unit's own.
//!
//! Where the guarantee ends: a unit that answers out of order, one that answers later than its map's
//! `late_at_most`, two units with one number, and a corruption that passes the 16-bit checksum.

use std::collections::HashMap;
use std::io;
use std::time::Duration;

use tokio::io::{AsyncReadExt, AsyncWriteExt};
use tokio::time::{Instant, sleep_until, timeout_at};
use tokio_modbus::bytes::Bytes;
use tokio_modbus::{ExceptionCode, Request, Response};

use super::Failure;
use super::frame::{Expected, Framing, Heard, Stranger, request_pdu, wrap};
use super::port::{Pace, Wire};
use crate::map::Access;
use crate::setup::UnitId;

/// Function 08, diagnostics; sub-function 00 returns the query data.
const DIAGNOSTICS: u8 = 0x08;
/// After a failure the line must have been quiet for this long, so that the tail of a broken answer
/// does not become the head of the next; longer than any adapter's own buffering (common practice,
/// no source).
const QUIET_AFTER_FAILURE: Duration = Duration::from_millis(20);
/// More than the longest frame; what is older is dropped.
const KEEP_AT_MOST: usize = 1024;

/// The conversation on one open port.
pub(crate) struct Exchange {
    wire: Box<dyn Wire>,
    pace: Pace,
    answer_within: Duration,
    /// When the last byte went out or came in.
    last_activity: Instant,
    units: HashMap<UnitId, Trust>,
    /// Whether the adapter returns what is sent; unknown until an answer has come.
    adapter_echoes: Option<bool>,
    running_number: u16,
}

/// What is known of one unit.
#[derive(Clone, Copy, Debug, Default)]
struct Trust {
    /// A late answer may come until then.
    suspect_until: Option<Instant>,
    /// Whether it answers diagnostics.
    returns_query: Option<bool>,
}

impl Exchange {
    pub(crate) fn new(wire: Box<dyn Wire>, pace: Pace, answer_within: Duration) -> Self {
        Self {
            wire,
            pace,
            answer_within,
            last_activity: Instant::now(),
            units: HashMap::new(),
            adapter_echoes: None,
            running_number: 0,
        }
    }

    /// When `unit` can next be asked without waiting here; in the past for a unit in good standing.
    pub(crate) fn can_ask_from(&self, unit: UnitId) -> Option<Instant> {
        let trust = self.trust(unit);
        trust.suspect_until.filter(|_| !self.can_fence(trust))
    }

    /// Asks `unit` and waits for its certain answer. A suspect unit that cannot be trusted again by
    /// `patience` is not asked.
    pub(crate) async fn ask(
        &mut self,
        unit: UnitId,
        request: &Request<'_>,
        access: &Access,
        patience: Instant,
    ) -> Result<Response, Failure> {
        let pdu = request_pdu(request)?;
        self.make_certain(unit, access, patience).await?;
        let answer = self.converse(unit, &pdu, access).await?;
        Response::try_from(Bytes::from(answer)).map_err(|_| Failure::Damaged)
    }

    /// Whether the fence may be tried: not refused before, and not to be confused with an echo.
    fn can_fence(&self, trust: Trust) -> bool {
        trust.returns_query != Some(false) && self.adapter_echoes == Some(false)
    }

    /// Waits or fences until no older answer of `unit` can be on its way.
    async fn make_certain(
        &mut self,
        unit: UnitId,
        access: &Access,
        patience: Instant,
    ) -> Result<(), Failure> {
        let trust = self.trust(unit);
        if trust
            .suspect_until
            .is_none_or(|until| until <= Instant::now())
        {
            return Ok(());
        }
        if self.can_fence(trust) {
            match self.fence(unit, access).await {
                Err(Failure::Refused(_)) => self.note_fence(unit, false),
                // A unit may ignore functions it does not know: then time is the only fence.
                Err(Failure::NoAnswer) if trust.returns_query.is_none() => {
                    self.note_fence(unit, false);
                }
                result => {
                    result?;
                    self.note_fence(unit, true);
                    return Ok(());
                }
            }
        }
        match self.trust(unit).suspect_until {
            Some(until) if until > patience => Err(Failure::NoAnswer),
            Some(until) => {
                let _: () = sleep_until(until).await;
                Ok(())
            }
            None => Ok(()),
        }
    }

    fn trust(&self, unit: UnitId) -> Trust {
        self.units.get(&unit).copied().unwrap_or_default()
    }

    async fn fence(&mut self, unit: UnitId, access: &Access) -> Result<(), Failure> {
        self.running_number = self.running_number.wrapping_add(1);
        let [high, low] = self.running_number.to_be_bytes();
        self.converse(unit, &[DIAGNOSTICS, 0, 0, high, low], access)
            .await
            .map(|_| ())
    }

    fn note_fence(&mut self, unit: UnitId, returned: bool) {
        self.units.entry(unit).or_default().returns_query = Some(returned);
    }

    async fn converse(
        &mut self,
        unit: UnitId,
        pdu: &[u8],
        access: &Access,
    ) -> Result<Vec<u8>, Failure> {
        self.keep_silence(self.pace.silence.max(access.gap)).await?;
        self.running_number = self
            .running_number
            .wrapping_add(u16::from(self.pace.framing == Framing::Tcp));
        let expected = Expected::of(unit, pdu, self.running_number);
        let frame = wrap(self.pace.framing, unit, pdu, self.running_number);
        let on_the_wire =
            self.pace.character * (frame.len() + expected.frame_length(self.pace.framing)) as u32;
        let deadline = Instant::now() + on_the_wire + self.answer_within;
        self.units.entry(unit).or_default().suspect_until = Some(deadline + access.late_at_most);
        self.wire
            .write_all(&frame)
            .await
            .map_err(|error| Failure::port_lost(&error))?;
        self.last_activity = Instant::now() + self.pace.character * frame.len() as u32;
        let outcome = self.wait_for(&expected, &frame, deadline).await;
        if outcome.is_ok() || matches!(outcome, Err(Failure::Refused(_))) {
            self.units.entry(unit).or_default().suspect_until = None;
        } else {
            self.keep_silence(QUIET_AFTER_FAILURE).await?;
        }
        outcome
    }

    /// Collects bytes until the expected frame is among them or time is up.
    async fn wait_for(
        &mut self,
        expected: &Expected,
        sent: &[u8],
        deadline: Instant,
    ) -> Result<Vec<u8>, Failure> {
        let mut received = Vec::new();
        loop {
            match timeout_at(deadline, self.receive(&mut received)).await {
                Ok(result) => result.map_err(|error| Failure::port_lost(&error))?,
                Err(_) => return Err(self.why_not(expected, without_echo(&received, sent))),
            }
            self.remove_echo(&mut received, sent);
            if let Some(heard) = expected.find(self.pace.framing, &received) {
                // An answer equal to its request proves nothing about the adapter.
                if !received.starts_with(sent) {
                    self.adapter_echoes.get_or_insert(false);
                }
                return match heard {
                    Heard::Answer(pdu) => Ok(pdu),
                    Heard::Exception(code) => Err(Failure::of_exception(code)),
                };
            }
        }
    }

    /// Takes the adapter's echo off the front, once it is known to echo or more has come behind it.
    fn remove_echo(&mut self, received: &mut Vec<u8>, sent: &[u8]) {
        let known = self.adapter_echoes == Some(true);
        let seen_now = self.adapter_echoes.is_none() && received.len() > sent.len();
        if (known || seen_now) && received.starts_with(sent) {
            received.drain(..sent.len());
            self.adapter_echoes = Some(true);
        }
    }

    /// Names the reason when time is up.
    fn why_not(&self, expected: &Expected, received: &[u8]) -> Failure {
        if received.is_empty() {
            return Failure::NoAnswer;
        }
        match expected.find_stranger(self.pace.framing, received) {
            Some(Stranger { unit, function }) => Failure::Foreign { unit, function },
            None => Failure::Damaged,
        }
    }

    async fn receive(&mut self, into: &mut Vec<u8>) -> io::Result<()> {
        let mut chunk = [0; 512];
        let count = self.wire.read(&mut chunk).await?;
        if count == 0 {
            return Err(io::ErrorKind::UnexpectedEof.into());
        }
        self.last_activity = Instant::now();
        into.extend_from_slice(&chunk[..count]);
        let excess = into.len().saturating_sub(KEEP_AT_MOST);
        into.drain(..excess);
        Ok(())
    }

    /// Waits until nothing has come or gone for `silence`; what comes meanwhile is thrown away.
    async fn keep_silence(&mut self, silence: Duration) -> Result<(), Failure> {
        let mut unasked = Vec::new();
        // Also with the silence already over: what waits in the system's buffer must go.
        while let Ok(result) =
            timeout_at(self.last_activity + silence, self.receive(&mut unasked)).await
        {
            result.map_err(|error| Failure::port_lost(&error))?;
        }
        Ok(())
    }
}

/// What came besides an adapter's echo of the request.
fn without_echo<'a>(received: &'a [u8], sent: &[u8]) -> &'a [u8] {
    received.strip_prefix(sent).unwrap_or(received)
}

impl Failure {
    fn port_lost(error: &io::Error) -> Self {
        Self::PortLost(error.to_string())
    }

    /// A gateway's 0A and 0B say that the unit behind it did not answer.
    fn of_exception(code: u8) -> Self {
        match ExceptionCode::new(code) {
            ExceptionCode::GatewayPathUnavailable | ExceptionCode::GatewayTargetDevice => {
                Self::NoAnswer
            }
            _ => Self::Refused(code),
        }
    }
}

#[cfg(test)]
mod tests {
    use tokio::io::DuplexStream;

    use super::*;
    use crate::map::{ByteOrder, WordOrder};

    const SECOND: Duration = Duration::from_secs(1);
    const ACCESS: Access = Access {
        word_order: WordOrder::HighFirst,
        byte_order: ByteOrder::HighFirst,
        max_words: 8,
        bridge_gaps: false,
        gap: Duration::ZERO,
        after_write: Duration::ZERO,
        late_at_most: Duration::from_secs(2),
    };

    /// An exchange at 9600 baud and the other end of its wire.
    fn exchange() -> (Exchange, DuplexStream) {
        let (ours, theirs) = tokio::io::duplex(4096);
        let pace = Pace {
            framing: Framing::Rtu,
            character: SECOND * 11 / 9600,
            silence: SECOND * 11 * 7 / 2 / 9600,
        };
        (Exchange::new(Box::new(ours), pace, SECOND / 2), theirs)
    }

    fn unit() -> UnitId {
        UnitId::new(1).unwrap()
    }

    fn answer(words: &[u16]) -> Vec<u8> {
        let mut pdu = vec![3, 2 * words.len() as u8];
        pdu.extend(words.iter().flat_map(|word| word.to_be_bytes()));
        wrap(Framing::Rtu, unit(), &pdu, 0)
    }

    async fn hear(wire: &mut DuplexStream) -> Vec<u8> {
        let mut frame = [0; 8];
        wire.read_exact(&mut frame).await.unwrap();
        frame.to_vec()
    }

    async fn ask_for(
        exchange: &mut Exchange,
        address: u16,
        count: u16,
    ) -> Result<Response, Failure> {
        let request = Request::ReadHoldingRegisters(address, count);
        exchange
            .ask(unit(), &request, &ACCESS, Instant::now() + 10 * SECOND)
            .await
    }

    fn words(words: &[u16]) -> Response {
        Response::ReadHoldingRegisters(words.to_vec())
    }

    #[tokio::test(start_paused = true)]
    async fn an_answer_in_pieces_behind_garbage_is_put_together() {
        let (mut exchange, mut wire) = exchange();
        tokio::spawn(async move {
            hear(&mut wire).await;
            for byte in [&[0x01, 0x03, 0xFF], answer(&[253]).as_slice()].concat() {
                wire.write_all(&[byte]).await.unwrap();
                tokio::time::sleep(Duration::from_millis(1)).await;
            }
            hear(&mut wire).await;
        });
        assert_eq!(ask_for(&mut exchange, 0, 1).await, Ok(words(&[253])));
    }

    #[tokio::test(start_paused = true)]
    async fn the_reasons_are_told_apart() {
        let (mut exchange, mut wire) = exchange();
        tokio::spawn(async move {
            let mut damaged = answer(&[7]);
            damaged[4] ^= 1;
            let foreign = wrap(Framing::Rtu, UnitId::new(9).unwrap(), &[3, 2, 0, 7], 0);
            let refused = wrap(Framing::Rtu, unit(), &[0x83, 2], 0);
            let gateway = wrap(Framing::Rtu, unit(), &[0x83, 0x0B], 0);
            for reply in [vec![], damaged, foreign, refused, gateway] {
                hear(&mut wire).await;
                wire.write_all(&reply).await.unwrap();
            }
            tokio::time::sleep(SECOND).await;
        });
        let foreign = Failure::Foreign {
            unit: 9,
            function: 3,
        };
        for expected in [
            Failure::NoAnswer,
            Failure::Damaged,
            foreign,
            Failure::Refused(2),
            Failure::NoAnswer,
        ] {
            assert_eq!(ask_for(&mut exchange, 0, 1).await, Err(expected));
        }
        let closed = ask_for(&mut exchange, 0, 1).await.unwrap_err();
        assert!(matches!(closed, Failure::PortLost(_)), "{closed:?}");
    }

    #[tokio::test(start_paused = true)]
    async fn a_late_answer_is_never_taken_for_the_next_request_of_the_same_shape() {
        let (mut exchange, mut wire) = exchange();
        tokio::spawn(async move {
            hear(&mut wire).await;
            tokio::time::sleep(SECOND + SECOND / 2).await;
            wire.write_all(&answer(&[1])).await.unwrap();
            hear(&mut wire).await;
            wire.write_all(&answer(&[2])).await.unwrap();
            hear(&mut wire).await;
        });
        assert_eq!(ask_for(&mut exchange, 1, 1).await, Err(Failure::NoAnswer));
        assert_eq!(ask_for(&mut exchange, 2, 1).await, Ok(words(&[2])));
    }

    #[tokio::test(start_paused = true)]
    async fn a_fence_lets_a_unit_be_asked_again_as_soon_as_it_returns_the_number() {
        let (mut exchange, mut wire) = exchange();
        tokio::spawn(async move {
            hear(&mut wire).await;
            wire.write_all(&answer(&[0])).await.unwrap();
            // The second answer is late: it comes in front of the fence's.
            hear(&mut wire).await;
            let fence = hear(&mut wire).await;
            assert_eq!(fence[..4], [1, DIAGNOSTICS, 0, 0]);
            wire.write_all(&answer(&[1])).await.unwrap();
            wire.write_all(&fence).await.unwrap();
            hear(&mut wire).await;
            wire.write_all(&answer(&[2])).await.unwrap();
            hear(&mut wire).await;
        });
        assert_eq!(ask_for(&mut exchange, 0, 1).await, Ok(words(&[0])));
        assert_eq!(ask_for(&mut exchange, 1, 1).await, Err(Failure::NoAnswer));
        let began = Instant::now();
        assert_eq!(ask_for(&mut exchange, 2, 1).await, Ok(words(&[2])));
        assert!(began.elapsed() < SECOND, "{:?}", began.elapsed());
    }

    #[tokio::test(start_paused = true)]
    async fn a_request_that_was_given_up_half_way_leaves_the_unit_suspect() {
        let (mut exchange, mut wire) = exchange();
        tokio::spawn(async move {
            hear(&mut wire).await;
            tokio::time::sleep(SECOND / 5).await;
            wire.write_all(&answer(&[1])).await.unwrap();
            hear(&mut wire).await;
            wire.write_all(&answer(&[2])).await.unwrap();
            hear(&mut wire).await;
        });
        let given_up = tokio::time::timeout(SECOND / 10, ask_for(&mut exchange, 1, 1)).await;
        assert!(given_up.is_err());
        assert_eq!(ask_for(&mut exchange, 2, 1).await, Ok(words(&[2])));
    }

    #[tokio::test(start_paused = true)]
    async fn an_adapters_echo_is_taken_off_and_no_fence_is_built_on_it() {
        let (mut exchange, mut wire) = exchange();
        tokio::spawn(async move {
            for reply in [Some(5), None, Some(6)] {
                let request = hear(&mut wire).await;
                assert_eq!(request[1], 3, "an echoed fence proves nothing");
                wire.write_all(&request).await.unwrap();
                if let Some(word) = reply {
                    wire.write_all(&answer(&[word])).await.unwrap();
                }
            }
            hear(&mut wire).await;
        });
        assert_eq!(ask_for(&mut exchange, 0, 1).await, Ok(words(&[5])));
        assert_eq!(ask_for(&mut exchange, 0, 1).await, Err(Failure::NoAnswer));
        assert_eq!(ask_for(&mut exchange, 0, 1).await, Ok(words(&[6])));
    }
}
