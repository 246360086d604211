//! A unit whose registers say who they are and when they were read, for checking a master: a value
//! credited to another register shows, and so does an old answer credited to a newer request.

use std::collections::VecDeque;
use std::sync::{Arc, Mutex, MutexGuard, PoisonError};

use tokio::time::Instant;

use super::{Exception, Layout, Words};
use crate::controller::{Controller, Settings, Tuning};
use crate::wire::answer;

/// Requests remembered: as many as the running number can tell apart.
const REMEMBERED: usize = 1 << 16;
/// The first word of a pair: set for one in the input registers, the unit's mark, the address.
const INPUT: u16 = 0x8000;
const MARKS: u8 = 8;
const MARK_AT: u32 = 12;
const ADDRESSES: u16 = 1 << MARK_AT;

/// Such a unit. Clones share the count.
///
/// Its registers come in pairs, read together as a 32-bit number, high word first: the first word of
/// a pair holds its address, the table and the unit's mark, the second the running number of the
/// request it answers.
#[derive(Clone, Debug)]
pub struct Counter {
    mark: u8,
    echoes: bool,
    asked: Arc<Mutex<Requests>>,
}

/// A read that was answered.
#[derive(Clone, Copy, Debug, PartialEq, Eq)]
pub struct Asked {
    /// When its answer was made.
    pub at: Instant,
    /// Function, first address, count.
    function: u8,
    first: u16,
    count: u16,
}

#[derive(Debug)]
struct Requests {
    count: u64,
    last: VecDeque<Asked>,
    controller: Controller,
}

/// The registers as one request finds them.
#[derive(Debug)]
struct Registers {
    mark: u8,
    running_number: u16,
    echoes: bool,
}

impl Counter {
    /// A unit that has not been asked yet. `mark`, below 8, tells it from others; `echoes` says
    /// whether it knows function 08.
    pub fn new(mark: u8, echoes: bool) -> Self {
        let settings = Settings::as_delivered(Tuning::new(28.0, 140.0, 35.0), 0.0);
        let requests = Requests {
            count: 0,
            last: VecDeque::new(),
            controller: Controller::new(settings, 0.0, 0.0),
        };
        Self {
            mark: mark % MARKS,
            echoes,
            asked: Arc::new(Mutex::new(requests)),
        }
    }

    /// Requests so far, of any function.
    pub fn count(&self) -> u64 {
        self.requests().count
    }

    /// The latest request for a pair that was answered before `now`.
    pub fn last_asked(&self, pair: Pair, now: Instant) -> Option<Asked> {
        let requests = self.requests();
        let is_it = |asked: &&Asked| asked.at < now && asked.covers(pair);
        requests.last.iter().rev().find(is_it).copied()
    }

    /// The latest request with this running number.
    pub fn numbered(&self, running_number: u16) -> Option<Asked> {
        let requests = self.requests();
        let newest = requests.count as u16;
        let back = usize::from(newest.wrapping_sub(running_number));
        let place = requests.last.len().checked_sub(back + 1)?;
        requests.last.get(place).copied()
    }

    pub(crate) fn answer(&self, request: &[u8]) -> Vec<u8> {
        let mut requests = self.requests();
        requests.count += 1;
        let registers = Registers {
            mark: self.mark,
            running_number: requests.count as u16,
            echoes: self.echoes,
        };
        requests.remember(request);
        answer(&registers, &mut requests.controller, request)
    }

    fn requests(&self) -> MutexGuard<'_, Requests> {
        self.asked.lock().unwrap_or_else(PoisonError::into_inner)
    }
}

impl Requests {
    fn remember(&mut self, request: &[u8]) {
        let word = |at: usize| {
            Some(u16::from_be_bytes([
                *request.get(at)?,
                *request.get(at + 1)?,
            ]))
        };
        if self.last.len() == REMEMBERED {
            self.last.pop_front();
        }
        self.last.push_back(Asked {
            at: Instant::now(),
            function: request.first().copied().unwrap_or_default(),
            first: word(1).unwrap_or_default(),
            count: word(3).unwrap_or_default(),
        });
    }
}

/// Two registers that are read together.
#[derive(Clone, Copy, Debug, PartialEq, Eq)]
pub struct Pair {
    /// Their table.
    pub table: Words,
    /// The address of the first, always even.
    pub address: u16,
}

/// What a value says of itself.
#[derive(Clone, Copy, Debug, PartialEq, Eq)]
pub struct Told {
    /// The mark of its unit.
    pub mark: u8,
    /// Its registers.
    pub pair: Pair,
    /// Which request it answers.
    pub running_number: u16,
}

impl Told {
    /// What a 32-bit value of such a unit says.
    pub fn by(value: u32) -> Self {
        let place = (value >> 16) as u16;
        let table = if place & INPUT == 0 {
            Words::Holding
        } else {
            Words::Input
        };
        Self {
            mark: (place >> MARK_AT) as u8 % MARKS,
            pair: Pair {
                table,
                address: place % ADDRESSES,
            },
            running_number: value as u16,
        }
    }
}

impl Asked {
    /// Whether this pair was among what was asked for.
    pub fn covers(&self, pair: Pair) -> bool {
        let function = match pair.table {
            Words::Holding => 3,
            Words::Input => 4,
        };
        let place = u32::from(self.first)..u32::from(self.first) + u32::from(self.count);
        self.function == function && place.contains(&u32::from(pair.address))
    }
}

impl Layout for Registers {
    fn name(&self) -> &'static str {
        "counter"
    }

    fn map_text(&self) -> &'static str {
        ""
    }

    fn max_words(&self) -> u16 {
        125
    }

    fn echoes(&self) -> bool {
        self.echoes
    }

    fn has_words(&self, _table: Words) -> bool {
        true
    }

    fn word(&self, _controller: &Controller, table: Words, address: u16) -> Option<u16> {
        let which = if table == Words::Input { INPUT } else { 0 };
        let mark = u16::from(self.mark) << MARK_AT;
        (address < ADDRESSES).then_some(if address.is_multiple_of(2) {
            which | mark | address
        } else {
            self.running_number
        })
    }

    fn write_words(&self, _: &mut Controller, _: u16, _: &[u16]) -> Result<(), Exception> {
        Err(Exception::IllegalAddress)
    }
}

#[cfg(test)]
mod tests {
    use std::time::Duration;

    use super::*;

    const PAIR: Pair = Pair {
        table: Words::Input,
        address: 0x10,
    };

    fn value(answer: &[u8]) -> u32 {
        u32::from_be_bytes(answer[2..6].try_into().unwrap())
    }

    #[tokio::test(start_paused = true)]
    async fn a_value_tells_its_pair_and_the_request_it_answers() {
        let counter = Counter::new(5, true);
        counter.answer(&[3, 0, 0, 0, 2]);
        let told = Told::by(value(&counter.answer(&[4, 0, 0x10, 0, 2])));
        let (mark, pair, running_number) = (5, PAIR, 2);
        let expected = Told {
            mark,
            pair,
            running_number,
        };
        assert_eq!(told, expected);
        assert!(counter.numbered(2).is_some_and(|asked| asked.covers(PAIR)));
        assert!(counter.numbered(1).is_some_and(|asked| !asked.covers(PAIR)));
        assert_eq!(counter.numbered(3), None);
    }

    #[tokio::test(start_paused = true)]
    async fn an_old_answer_is_told_from_a_new_one_also_after_the_number_ran_over() {
        let counter = Counter::new(0, false);
        let mut last = 0;
        for _ in 0..70_000 {
            last = value(&counter.answer(&[4, 0, 0x10, 0, 2]));
            tokio::time::advance(Duration::from_millis(1)).await;
        }
        let running_number = Told::by(last).running_number;
        let asked = counter.last_asked(PAIR, Instant::now());
        assert_eq!(counter.numbered(running_number), asked);
        assert_ne!(counter.numbered(running_number.wrapping_sub(1)), asked);
    }

    #[test]
    fn it_knows_the_diagnostics_echo_only_if_it_should() {
        let query = [8, 0, 0, 1, 2];
        assert_eq!(Counter::new(0, true).answer(&query), query);
        assert_eq!(Counter::new(0, false).answer(&query), [0x88, 1]);
    }
}
