//! Another master on the wire: a panel or a PLC that polls the same units.

use std::str::FromStr;
use std::time::Duration;

use tokio::time::{Instant, sleep_until};

use super::Timing;
use super::crc::sealed;

/// So long a master waits for an answer before it asks on (common practice, no source).
const ANSWER_WITHIN: Duration = Duration::from_millis(300);

/// Most registers and most bits one read may ask for (Modbus application protocol V1.1b3, 6.1, 6.3).
const MOST_WORDS: u16 = 125;
const MOST_BITS: u16 = 2000;

/// One read that a master makes again and again.
#[derive(Clone, Debug, PartialEq, Eq)]
pub struct Poll {
    request: Vec<u8>,
    every: Duration,
}

impl Poll {
    /// `count` registers or bits from `address` on, by function 1 to 4; `None` where the standard
    /// knows no such read.
    pub fn new(unit: u8, function: u8, address: u16, count: u16, every: Duration) -> Option<Self> {
        let most = match function {
            1 | 2 => MOST_BITS,
            3 | 4 => MOST_WORDS,
            _ => return None,
        };
        let is_there = u32::from(address) + u32::from(count) <= 1 << 16;
        let may_be = (1..=247).contains(&unit) && (1..=most).contains(&count) && is_there;
        let ([a, b], [c, d]) = (address.to_be_bytes(), count.to_be_bytes());
        (may_be && !every.is_zero()).then(|| Self {
            request: sealed(vec![unit, function, a, b, c, d]),
            every,
        })
    }
}

impl FromStr for Poll {
    type Err = String;

    /// `1:3:0:5 every 500ms`: unit, function, address, count.
    fn from_str(text: &str) -> Result<Self, String> {
        let how =
            "write UNIT:FUNCTION:ADDRESS:COUNT every DURATION, for example '1:3:0:5 every 500ms'";
        let (what, every) = text.split_once(" every ").ok_or(how)?;
        let every = humantime::parse_duration(every.trim()).map_err(|_| how)?;
        let numbers: Vec<u16> = what
            .trim()
            .split(':')
            .map(str::parse)
            .collect::<Result<_, _>>()
            .map_err(|_| how)?;
        let [unit, function, address, count] = numbers[..] else {
            return Err(how.to_owned());
        };
        let byte = |number: u16| u8::try_from(number).unwrap_or_default();
        Self::new(byte(unit), byte(function), address, count, every).ok_or_else(|| {
            "units are 1 to 247, functions 1 to 4, at most 125 registers or 2000 bits".to_owned()
        })
    }
}

/// A master that makes its reads one at a time, each on its own grid: it waits for an answer until
/// its time is over, and asks what it could not ask in time as soon as it can.
#[derive(Clone, Debug, PartialEq, Eq)]
pub struct Master {
    polls: Vec<Poll>,
    /// So long it waits for an answer.
    pub answer_within: Duration,
}

impl Master {
    /// A master that makes these reads.
    pub fn new(polls: Vec<Poll>) -> Self {
        Self {
            polls,
            answer_within: ANSWER_WITHIN,
        }
    }
}

/// A master at work.
#[derive(Debug)]
pub(super) struct Asking<'a> {
    master: &'a Master,
    /// When each read is due.
    due: Vec<Instant>,
    free_from: Instant,
}

impl<'a> Asking<'a> {
    pub(super) fn begin(master: &'a Master) -> Self {
        Self {
            master,
            due: vec![Instant::now(); master.polls.len()],
            free_from: Instant::now(),
        }
    }

    /// When it asks next; never if it has nothing to ask.
    fn next(&self) -> Option<(usize, Instant)> {
        let first = self
            .due
            .iter()
            .copied()
            .enumerate()
            .min_by_key(|(_, at)| *at)?;
        Some((first.0, first.1.max(self.free_from)))
    }

    /// The request it makes now, if it makes one.
    pub(super) fn request(&mut self) -> Option<&'a [u8]> {
        let (poll, at) = self.next()?;
        if at > Instant::now() {
            return None;
        }
        let Poll { request, every } = &self.master.polls[poll];
        // What it had no time for is left out, and its grid stays.
        while self.due[poll] <= Instant::now() {
            self.due[poll] += *every;
        }
        Some(request)
    }

    /// `answered` is when the answer to its request will be out, if it comes.
    pub(super) fn waits_for(&mut self, request: &[u8], answered: Option<Instant>, timing: Timing) {
        let given_up =
            Instant::now() + timing.on_the_wire(request.len()) + self.master.answer_within;
        let over = answered.filter(|at| *at <= given_up).unwrap_or(given_up);
        self.free_from = over + timing.silence();
    }
}

/// Until one of them asks; for ever where there is none.
pub(super) async fn one_asks(masters: &[Asking<'_>]) {
    let next = masters.iter().filter_map(Asking::next).map(|(_, at)| at);
    match next.min() {
        Some(at) => sleep_until(at).await,
        None => std::future::pending().await,
    }
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn a_poll_is_read_from_the_command_line() {
        let poll: Poll = "1:3:0:5 every 500ms".parse().unwrap();
        assert_eq!(
            Some(poll),
            Poll::new(1, 3, 0, 5, Duration::from_millis(500))
        );
        for wrong in [
            "1:3:0:5",
            "1:3:0 every 1s",
            "1:6:0:1 every 1s",
            "0:3:0:1 every 1s",
            "256:3:0:1 every 1s",
            "1:3:0:126 every 1s",
            "1:3:65535:2 every 1s",
            "1:3:0:1 every 0s",
        ] {
            assert!(wrong.parse::<Poll>().is_err(), "{wrong}");
        }
    }
}
