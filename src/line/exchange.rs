//! One request, one certain answer or one named reason.
//!
//! RTU has no transaction number: the only thing that ties an answer to its request is its shape and
//! its time. What is kept here:
//!
//! * An answer is accepted only as a checksum-valid frame of the exact shape the request implies, at
//!   any offset in what was received; everything else is skipped ([`Expected`]).
//! * Before a request goes out the line must have been silent for 3.5 characters, and whatever came
//!   unasked is thrown away. After a failure the silence must be longer.
//! * From the moment a request goes out until its answer has come the unit is *suspect*: a late
//!   answer may be on its way ([`Trust`]). A future that is dropped half-way leaves it so. A suspect
//!   unit is asked nothing before a fence has passed: a diagnostics echo (function 08) with a number
//!   never used before, which a unit that answers in order can only return after everything older.
//! * Where the unit refuses or ignores that function, or the missing answer has the shape of another
//!   block's, time is the fence: nothing is asked until `late_at_most` after the request, or until
//!   the late answer has come and its repetition had time to come too.
//! * A fence is used only where the adapter was seen not to echo requests, because such an echo looks
//!   like the unit's own. A refusal of the fence carries no number and proves nothing.
//!
//! Where the guarantee ends: a unit that answers out of order (then an old answer to the *same* block
//! may be taken, another block's only if the plan could not make their lengths differ); one that
//! answers later than its map's `late_at_most`; an answer that is repeated later than the silence
//! after the first was accepted, if two blocks of one length follow each other; two units with one
//! number; and a corruption that passes the 16-bit checksum.
//!
//! Behind a gateway a TCP transaction number proves nothing about its serial side, so all of this
//! holds for Modbus TCP as well.

use std::collections::HashMap;
use std::io;
use std::time::Duration;

use tokio::io::{AsyncReadExt, AsyncWriteExt};
use tokio::time::{Instant, timeout_at};
use tokio_modbus::bytes::Bytes;
use tokio_modbus::{ExceptionCode, Request, Response};

use super::Failure;
use super::frame::{Expected, Heard, Stranger, request_pdu, wrap};
use super::port::{Pace, Wire};
use super::trust::{Trust, repeated_until};
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
    /// Of the fence.
    running_number: u16,
    /// Of Modbus TCP.
    transaction: u16,
    last_answer_took: (Duration, Duration),
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
            transaction: 0,
            last_answer_took: (Duration::ZERO, Duration::ZERO),
        }
    }

    /// Until when `unit` cannot be asked, because an older answer may come and no fence would do.
    pub(crate) fn can_ask_from(&self, unit: UnitId) -> Option<Instant> {
        let trust = self.units.get(&unit)?;
        trust.free_at().filter(|_| !self.can_fence(trust))
    }

    /// How long the last answer took: from the end of its request to its own end, and of that the
    /// time before its first character, as the line's pace has it.
    pub(crate) fn last_answer_took(&self) -> (Duration, Duration) {
        self.last_answer_took
    }

    /// Asks `unit` and waits for its certain answer. A suspect unit that cannot be trusted again by
    /// `patience` is not asked. `is_unique` says that no other request to this unit is answered by a
    /// frame of this shape.
    pub(crate) async fn ask(
        &mut self,
        unit: UnitId,
        request: &Request<'_>,
        is_unique: bool,
        access: &Access,
        patience: Instant,
    ) -> Result<Response, Failure> {
        let pdu = request_pdu(request)?;
        self.make_certain(unit, access, patience).await?;
        let answer = self.converse(unit, &pdu, is_unique, access).await;
        // A refusal of what was just asked is an answer too: nothing older can come.
        if answer.is_ok() || matches!(answer, Err(Failure::Refused(_))) {
            self.trust(unit).clear();
        }
        Response::try_from(Bytes::from(answer?)).map_err(|_| Failure::Damaged)
    }

    /// Whether the fence may be tried: not refused before, and not to be confused with an echo.
    fn can_fence(&self, trust: &Trust) -> bool {
        trust.may_fence() && self.adapter_echoes == Some(false)
    }

    fn trust(&mut self, unit: UnitId) -> &mut Trust {
        self.units.entry(unit).or_default()
    }

    /// Waits or fences until no older answer of `unit` can be on its way.
    async fn make_certain(
        &mut self,
        unit: UnitId,
        access: &Access,
        patience: Instant,
    ) -> Result<(), Failure> {
        loop {
            let trust = self.trust(unit).clone();
            match trust.free_at() {
                Some(free) if free > Instant::now() && self.can_fence(&trust) => {
                    self.fence(unit, access).await?;
                }
                Some(free) if free > patience => return Err(Failure::NoAnswer),
                Some(free) if free > Instant::now() => self.listen(unit, free).await?,
                Some(_) | None => {
                    self.trust(unit).clear();
                    return Ok(());
                }
            }
        }
    }

    /// Sends a number never used before and waits for its return.
    async fn fence(&mut self, unit: UnitId, access: &Access) -> Result<(), Failure> {
        self.running_number = self.running_number.wrapping_add(1);
        let [high, low] = self.running_number.to_be_bytes();
        let query = [DIAGNOSTICS, 0, 0, high, low];
        let returned = self.converse(unit, &query, true, access).await;
        let trust = self.trust(unit);
        match returned {
            Ok(_) => {
                trust.returns_query = Some(true);
                trust.clear();
            }
            Err(Failure::Refused(_)) => trust.returns_query = Some(false),
            // A unit may ignore functions it does not know: then time is the only fence.
            Err(Failure::NoAnswer) if trust.returns_query.is_none() => {
                trust.returns_query = Some(false);
            }
            Err(failure) => return Err(failure),
        }
        Ok(())
    }

    /// Listens for late answers of `unit` until `until`.
    async fn listen(&mut self, unit: UnitId, until: Instant) -> Result<(), Failure> {
        let mut received = Vec::new();
        if let Ok(result) = timeout_at(until, self.receive(&mut received)).await {
            result.map_err(|error| Failure::port_lost(&error))?;
            // The rest of the frame, if this was the start of one.
            self.collect_until_silent(&mut received, QUIET_AFTER_FAILURE)
                .await?;
            let (framing, soon) = (
                self.pace.framing,
                repeated_until(Instant::now(), self.answer_within),
            );
            self.trust(unit).heard(framing, &received, soon);
        }
        Ok(())
    }

    async fn converse(
        &mut self,
        unit: UnitId,
        pdu: &[u8],
        is_unique: bool,
        access: &Access,
    ) -> Result<Vec<u8>, Failure> {
        self.keep_silence(self.pace.silence.max(access.gap)).await?;
        self.transaction = self.transaction.wrapping_add(1);
        let expected = Expected::of(unit, pdu, self.transaction);
        let frame = wrap(self.pace.framing, unit, pdu, self.transaction);
        let sent_in = self.pace.character * frame.len() as u32;
        let answered_in = self.pace.character * expected.frame_length(self.pace.framing) as u32;
        let deadline = Instant::now() + sent_in + self.answer_within + answered_in;
        self.trust(unit)
            .sent(expected.clone(), deadline + access.late_at_most, is_unique);
        self.wire
            .write_all(&frame)
            .await
            .map_err(|error| Failure::port_lost(&error))?;
        let request_ends = Instant::now() + sent_in;
        self.last_activity = request_ends;
        let outcome = self.wait_for(&expected, &frame, deadline).await;
        if outcome.is_ok() || matches!(outcome, Err(Failure::Refused(_))) {
            let took = Instant::now().saturating_duration_since(request_ends);
            self.last_answer_took = (took, took.saturating_sub(answered_in));
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
        self.collect_until_silent(&mut Vec::new(), silence).await
    }

    async fn collect_until_silent(
        &mut self,
        received: &mut Vec<u8>,
        silence: Duration,
    ) -> Result<(), Failure> {
        loop {
            let until = self.last_activity + silence;
            // Also with the silence already over: what waits in the system's buffer must go.
            match timeout_at(self.pace.coarse(until), self.receive(received)).await {
                Ok(result) => result.map_err(|error| Failure::port_lost(&error))?,
                Err(_) if Instant::now() < until => self.pace.wait_exactly(until),
                Err(_) => return Ok(()),
            }
        }
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
    use crate::line::frame::Framing;
    use crate::setup::{Parity, Port, StopBits};

    const SECOND: Duration = Duration::from_secs(1);

    /// An exchange at 9600 baud and the other end of its wire.
    fn exchange() -> (Exchange, DuplexStream) {
        let (ours, theirs) = tokio::io::duplex(4096);
        let port = Port::Serial {
            path: String::new(),
            baud: 9600,
            parity: Parity::Even,
            stop_bits: StopBits::One,
        };
        let pace = Pace::of(&port);
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
        let patience = Instant::now() + 10 * SECOND;
        exchange
            .ask(unit(), &request, true, &Access::default(), patience)
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
