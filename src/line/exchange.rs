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
//!   the late answer has come and its repetition had time to come too. It is heard whenever it comes:
//!   between polls, or while another unit is asked.
//! * A fence is used only where the adapter was seen not to echo requests, because such an echo looks
//!   like the unit's own. A refusal of the fence carries no number and proves nothing.
//! * All this outlives a lost port: what was asked before may be answered when it is back.
//!
//! Where the guarantee ends: a unit that answers out of order (then an old answer to the *same* block
//! may be taken, another block's only if the plan could not make their lengths differ); one that
//! answers later than its map's `late_at_most`; an answer that is repeated later than the silence
//! after the first was accepted, if two blocks of one length follow each other; two units with one
//! number; another master that asks the same unit at the same time for a block of the same length
//! (which is why a line is listened to first, see [`others`](super::others)); and a corruption that
//! passes the 16-bit checksum.
//!
//! Behind a gateway a TCP transaction number proves nothing about its serial side, so all of this
//! holds for Modbus TCP as well.

use std::collections::HashMap;
use std::io;
use std::time::Duration;

use tokio::io::{AsyncReadExt, AsyncWriteExt};
use tokio::time::{Instant, timeout_at};
use tokio_modbus::bytes::Bytes;
use tokio_modbus::{Request, Response};

use super::Failure;
use super::frame::{Expected, GATEWAYS, Heard, Stranger, request_pdu, strangers, wrap};
use super::port::{Pace, Wire};
use super::trust::Trust;
use crate::map::Access;
use crate::setup::UnitId;

/// Function 08, diagnostics; sub-function 00 returns the query data.
const DIAGNOSTICS: u8 = 0x08;
/// Exception 06, server device busy (Modbus application protocol V1.1b3, 7): says nothing for ever.
const BUSY: u8 = 0x06;
/// After a failure the line must have been quiet for this long and for the silence that ends a frame,
/// so that the tail of a broken answer does not become the head of the next; longer than any
/// adapter's own buffering (common practice, no source).
pub(crate) const QUIET_AFTER_FAILURE: Duration = Duration::from_millis(20);
/// More than the longest frame; what is older is dropped.
const KEEP_AT_MOST: usize = 1024;

/// What outlives a lost port: a late answer comes through whichever is open by then.
#[derive(Default)]
pub(crate) struct Memory {
    units: HashMap<UnitId, Trust>,
    /// Of the fence.
    running_number: u16,
}

/// The conversation on one open port.
pub(crate) struct Exchange {
    wire: Box<dyn Wire>,
    pace: Pace,
    answer_within: Duration,
    /// When the last byte went out or came in.
    last_activity: Instant,
    memory: Memory,
    /// Whether the adapter returns what is sent; unknown until an answer has come.
    adapter_echoes: Option<bool>,
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
            memory: Memory::default(),
            adapter_echoes: None,
            transaction: 0,
            last_answer_took: (Duration::ZERO, Duration::ZERO),
        }
    }

    /// Goes on from what was known when the port was lost.
    pub(crate) fn remembering(self, memory: Memory) -> Self {
        Self { memory, ..self }
    }

    /// What is still true once the port is lost.
    pub(crate) fn into_memory(self) -> Memory {
        self.memory
    }

    /// Until when `unit` cannot be asked, because an older answer may come and no fence would do.
    pub(crate) fn can_ask_from(&self, unit: UnitId) -> Option<Instant> {
        let trust = self.memory.units.get(&unit)?;
        trust.free_at().filter(|_| !self.can_fence(trust))
    }

    /// From now on an answer may take this long.
    pub(crate) fn set_answer_within(&mut self, answer_within: Duration) {
        self.answer_within = answer_within;
    }

    /// Takes in what comes from others and adds it to `into`; sends nothing. What has come stays in
    /// line if the wait is given up.
    pub(crate) async fn hear(&mut self, into: &mut Vec<u8>) -> io::Result<()> {
        self.receive(into).await
    }

    pub(crate) fn pace(&self) -> Pace {
        self.pace
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
        self.memory.units.entry(unit).or_default()
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
                Some(free) if free > Instant::now() => self.listen(free).await?,
                Some(_) | None => {
                    self.trust(unit).clear();
                    return Ok(());
                }
            }
        }
    }

    /// Sends a number never used before and waits for its return.
    async fn fence(&mut self, unit: UnitId, access: &Access) -> Result<(), Failure> {
        self.memory.running_number = self.memory.running_number.wrapping_add(1);
        let [high, low] = self.memory.running_number.to_be_bytes();
        let query = [DIAGNOSTICS, 0, 0, high, low];
        let returned = self.converse(unit, &query, true, access).await;
        let trust = self.trust(unit);
        match returned {
            Ok(_) => {
                trust.returns_query = Some(true);
                trust.clear();
            }
            Err(Failure::Refused(code)) if code != BUSY => trust.returns_query = Some(false),
            // A unit may ignore functions it does not know: this time the clock is the fence.
            Err(Failure::NoAnswer | Failure::BehindGateway(_)) if trust.returns_query.is_none() => {
                trust.ignored_fence();
            }
            Err(failure) => return Err(failure),
        }
        Ok(())
    }

    /// Listens until `until`, or until something has come: a late answer may set its unit free.
    ///
    /// # Errors
    /// The port is gone.
    pub(crate) async fn listen(&mut self, until: Instant) -> Result<(), Failure> {
        let mut received = Vec::new();
        if let Ok(result) = timeout_at(until, self.receive(&mut received)).await {
            result.map_err(|error| Failure::port_lost(&error))?;
            // The rest of the frame, if this was the start of one.
            self.collect_until_silent(&mut received, self.quiet_after_failure())
                .await?;
            self.overhear(&received);
        }
        Ok(())
    }

    /// Looks for late answers, whoever's, among what was not asked for.
    fn overhear(&mut self, received: &[u8]) {
        if received.is_empty() {
            return;
        }
        // A repetition takes no longer than an answer may.
        let repeated_until = Instant::now() + self.answer_within;
        for trust in self.memory.units.values_mut() {
            trust.overhear(self.pace.framing, received, repeated_until);
        }
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
        // A late answer to a fence can be taken for no other: its number is never used again.
        if pdu[0] != DIAGNOSTICS {
            self.trust(unit)
                .sent(expected.clone(), deadline + access.late_at_most, is_unique);
        }
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
            return outcome;
        }
        match self.keep_silence(self.quiet_after_failure()).await {
            Err(lost @ Failure::PortLost(_)) => Err(lost),
            _ => outcome,
        }
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
            let Ok(result) = timeout_at(deadline, self.receive(&mut received)).await else {
                self.overhear(&received);
                return Err(self.why_not(expected, without_echo(&received, sent)));
            };
            result.map_err(|error| Failure::port_lost(&error))?;
            self.remove_echo(expected, &mut received, sent);
            if let Some(heard) = expected.find(self.pace.framing, &received) {
                self.overhear(&received);
                // An answer equal to its request proves nothing about the adapter.
                if find(&received, sent).is_none() {
                    self.adapter_echoes.get_or_insert(false);
                }
                return match heard {
                    Heard::Answer(pdu) => Ok(pdu),
                    Heard::Exception(code) => Err(Failure::of_exception(code)),
                };
            }
        }
    }

    /// Takes the adapter's echo out, wherever noise has moved it: of a read always, because no answer
    /// to one is equal to it; else once the adapter is known to echo, or more has come behind it.
    fn remove_echo(&mut self, expected: &Expected, received: &mut Vec<u8>, sent: &[u8]) {
        let Some(at) = find(received, sent) else {
            return;
        };
        let end = at + sent.len();
        let seen_now = self.adapter_echoes.is_none() && received.len() > end;
        if expected.answers_a_read() || self.adapter_echoes == Some(true) || seen_now {
            received.drain(at..end);
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

    /// At slow baud rates the silence that ends a frame is the longer of the two.
    fn quiet_after_failure(&self) -> Duration {
        QUIET_AFTER_FAILURE.max(self.pace.silence)
    }

    /// Waits until nothing has come or gone for `silence`. What comes meanwhile answers nothing, and
    /// if it comes without end that is why nothing can be asked.
    async fn keep_silence(&mut self, silence: Duration) -> Result<(), Failure> {
        let mut received = Vec::new();
        let is_silent = self.collect_until_silent(&mut received, silence).await?;
        self.overhear(&received);
        match strangers(&received).next() {
            _ if is_silent => Ok(()),
            Some(Stranger { unit, function }) => Err(Failure::Foreign { unit, function }),
            None => Err(Failure::Damaged),
        }
    }

    /// Whether the line fell silent while an answer may take.
    async fn collect_until_silent(
        &mut self,
        received: &mut Vec<u8>,
        silence: Duration,
    ) -> Result<bool, Failure> {
        let give_up = self.last_activity.max(Instant::now()) + silence + self.answer_within;
        loop {
            let until = self.last_activity + silence;
            if until > give_up {
                return Ok(false);
            }
            // Also with the silence already over: what waits in the system's buffer must go.
            match timeout_at(self.pace.coarse(until), self.receive(received)).await {
                Ok(result) => result.map_err(|error| Failure::port_lost(&error))?,
                Err(_) if Instant::now() < until => self.pace.wait_exactly(until),
                Err(_) => return Ok(true),
            }
        }
    }
}

/// Where `wanted` stands in `bytes`.
fn find(bytes: &[u8], wanted: &[u8]) -> Option<usize> {
    bytes.windows(wanted.len()).position(|some| some == wanted)
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
        if GATEWAYS.contains(&code) {
            Self::BehindGateway(code)
        } else {
            Self::Refused(code)
        }
    }
}

#[cfg(test)]
#[path = "exchange_tests.rs"]
mod tests;
