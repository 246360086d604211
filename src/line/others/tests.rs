//! What may stand between a request of another master and an answer, and what comes of it.

use super::ear::Ear;
use super::pairing::{Lateness, Outcome, Overheard};
use super::*;
use crate::line::frame::{Framing, wrap};
use crate::line::port::Pace;
use crate::map::{Address, Place, Table};
use crate::setup::{Parity, Port, StopBits, UnitId};
use tokio::time::{Instant, advance};

const ANSWER_WITHIN: Duration = Duration::from_millis(500);
const LATE_AT_MOST: Duration = Duration::from_secs(2);
const UNIT: u8 = 1;

/// An ear for units 1 and 3 on a line that has long been quiet, and what it has heard.
struct Bench {
    ear: Ear,
    heard: Vec<Overheard>,
}

impl Bench {
    async fn new() -> Self {
        let pace = Pace::of(&Port::Serial {
            path: String::new(),
            baud: 115_200,
            parity: Parity::Even,
            stop_bits: StopBits::One,
        });
        let lateness: Lateness = [UNIT, 3]
            .into_iter()
            .map(|unit| (UnitId::new(unit).unwrap(), LATE_AT_MOST))
            .collect();
        let mut bench = Self {
            ear: Ear::new(pace, ANSWER_WITHIN, lateness, Instant::now()),
            heard: Vec::new(),
        };
        bench.pause(3000).await;
        bench
    }

    fn bytes(&mut self, bytes: &[u8]) {
        self.ear.take(bytes, Instant::now());
        self.heard.extend(self.ear.over_by(Instant::now()));
    }

    fn frame(&mut self, unit: u8, pdu: &[u8]) {
        self.bytes(&wrap(Framing::Rtu, UnitId::new(unit).unwrap(), pdu, 0));
    }

    /// A request for so many holding registers.
    fn asks(&mut self, address: u8, count: u8) {
        self.frame(UNIT, &[3, 0, address, 0, count]);
    }

    /// An answer with these registers.
    fn answers(&mut self, words: &[u8]) {
        let words = words.iter().flat_map(|word| [0, *word]);
        let pdu: Vec<u8> = [3, 2 * words.clone().count() as u8 / 2]
            .into_iter()
            .chain(words)
            .collect();
        self.frame(UNIT, &pdu);
    }

    async fn pause(&mut self, ms: u64) {
        // Step by step, as a line that is listened to wakes up.
        for _ in 0..ms.div_ceil(10) {
            advance(Duration::from_millis(10.min(ms))).await;
            self.heard.extend(self.ear.over_by(Instant::now()));
        }
    }

    /// A request and its answer, and half a second until the next.
    async fn exchange(&mut self, address: u8, word: u8) {
        self.asks(address, 1);
        self.pause(10).await;
        self.answers(&[word]);
        self.pause(490).await;
    }

    /// The address of each request that is over, and the last byte that came for it.
    fn values(&mut self) -> Vec<(u16, Option<u8>)> {
        self.heard.extend(self.ear.finish());
        let value = |one: Overheard| match one.outcome {
            Outcome::Came(data) => (one.asked.address.0, data.last().copied()),
            _ => (one.asked.address.0, None),
        };
        self.heard.drain(..).map(value).collect()
    }

    fn outcomes(&mut self) -> Vec<Outcome> {
        self.heard.extend(self.ear.finish());
        self.heard.drain(..).map(|one| one.outcome).collect()
    }
}

#[tokio::test(start_paused = true)]
async fn an_answer_directly_behind_its_request_is_credited_to_it() {
    let mut bench = Bench::new().await;
    bench.asks(5, 2);
    let asked_at = Instant::now();
    bench.pause(10).await;
    bench.answers(&[7, 8]);
    assert_eq!(bench.heard, [], "a second answer may still come");
    bench.pause(600).await;
    let [one] = &bench.heard[..] else {
        panic!("{:?}", bench.heard);
    };
    let asked = Place {
        table: Table::Holding,
        address: Address(5),
        count: 2,
    };
    assert_eq!((one.asked, one.unit.get()), (asked, UNIT));
    assert_eq!(one.outcome, Outcome::Came(vec![0, 7, 0, 8]));
    assert_eq!(one.at - asked_at, Duration::from_millis(10));
}

#[tokio::test(start_paused = true)]
async fn a_refusal_a_silence_and_a_damaged_answer_are_told_apart() {
    let mut bench = Bench::new().await;
    bench.asks(1, 1);
    bench.frame(UNIT, &[0x83, 2]);
    bench.asks(2, 2);
    bench.pause(4000).await;
    bench.asks(3, 3);
    bench.bytes(&[UNIT, 3, 6, 0, 1, 0xEE]);
    bench.pause(4000).await;
    let expected = [Outcome::Refused(2), Outcome::Missed, Outcome::Damaged];
    assert_eq!(bench.outcomes(), expected);
}

#[tokio::test(start_paused = true)]
async fn the_shape_must_be_exact() {
    for pdu in [&[3, 2, 0, 7][..], &[4, 4, 0, 7, 0, 8], &[0x84, 2]] {
        let mut bench = Bench::new().await;
        bench.asks(5, 2);
        bench.frame(UNIT, pdu);
        assert_eq!(bench.outcomes(), [Outcome::Unclear], "{pdu:?}");
    }
    let mut bench = Bench::new().await;
    bench.asks(5, 2);
    bench.frame(3, &[3, 4, 0, 7, 0, 8]);
    assert_eq!(bench.outcomes(), [Outcome::Unclear], "another unit's");
}

#[tokio::test(start_paused = true)]
async fn of_two_answers_to_one_request_neither_is_taken() {
    let mut bench = Bench::new().await;
    bench.asks(5, 1);
    bench.answers(&[1]);
    bench.answers(&[2]);
    bench.asks(6, 1);
    bench.answers(&[3]);
    // Both are accounted for: the unit is in good standing again.
    assert_eq!(bench.values(), [(5, None), (6, Some(3))]);
}

#[tokio::test(start_paused = true)]
async fn a_request_between_a_request_and_an_answer_leaves_both_open() {
    let mut bench = Bench::new().await;
    bench.asks(5, 1);
    bench.asks(6, 1);
    bench.answers(&[1]);
    bench.answers(&[2]);
    assert_eq!(bench.values(), [(5, None), (6, None)]);
    // Also where it is for another unit.
    bench.asks(5, 1);
    bench.frame(3, &[3, 0, 5, 0, 1]);
    bench.answers(&[1]);
    bench.frame(3, &[3, 2, 0, 2]);
    assert_eq!(bench.values(), [(5, None), (5, None)]);
}

#[tokio::test(start_paused = true)]
async fn a_late_answer_is_not_taken_for_the_next_request_of_the_same_shape() {
    let mut bench = Bench::new().await;
    bench.asks(5, 1);
    bench.pause(700).await;
    bench.asks(6, 1);
    bench.pause(20).await;
    bench.answers(&[5]);
    bench.pause(700).await;
    assert_eq!(bench.values(), [(5, None), (6, None)]);
}

#[tokio::test(start_paused = true)]
async fn a_repeated_answer_does_not_stand_for_another_that_is_still_to_come() {
    let mut bench = Bench::new().await;
    for address in [5, 6] {
        bench.asks(address, 1);
        bench.pause(600).await;
    }
    bench.answers(&[1]);
    bench.answers(&[1]);
    // Of two requests one was answered, twice: the other's answer may come now.
    bench.asks(7, 1);
    bench.answers(&[2]);
    assert_eq!(bench.values(), [(5, None), (6, None), (7, None)]);
}

#[tokio::test(start_paused = true)]
async fn an_answer_that_fits_one_request_alone_ends_the_doubt_about_older_ones() {
    let mut bench = Bench::new().await;
    bench.asks(5, 1);
    bench.pause(600).await;
    bench.asks(6, 2);
    bench.answers(&[1, 2]);
    bench.pause(100).await;
    bench.asks(7, 1);
    bench.answers(&[3]);
    assert_eq!(bench.values(), [(5, None), (6, Some(2)), (7, Some(3))]);
}

#[tokio::test(start_paused = true)]
async fn after_a_lost_answer_a_pause_ends_the_doubt_or_six_exchanges_in_a_row() {
    let mut bench = Bench::new().await;
    bench.asks(5, 1);
    bench.pause(2600).await;
    bench.exchange(6, 6).await;
    assert_eq!(bench.values(), [(5, None), (6, Some(6))]);

    bench.asks(5, 1);
    bench.pause(600).await;
    for n in 0..8 {
        bench.exchange(10 + n, n).await;
    }
    let values = bench.values();
    let came: Vec<_> = values.iter().map(|(_, value)| *value).collect();
    let lost = [None; 7];
    assert_eq!(came, [&lost[..], &[Some(6), Some(7)]].concat());
}

#[tokio::test(start_paused = true)]
async fn what_may_have_been_a_request_casts_doubt_on_every_unit_and_a_floating_line_on_none() {
    for (between, is_credited) in [
        (&[0x00, 0xFF][..], true),
        (&[0x01, 0x03, 0x00, 0x2A], false),
    ] {
        let mut bench = Bench::new().await;
        bench.bytes(between);
        bench.pause(100).await;
        bench.asks(5, 1);
        bench.bytes(&between[..1]);
        bench.answers(&[9]);
        let expected = is_credited.then_some(9);
        assert_eq!(bench.values(), [(5, expected)], "{between:02X?}");
    }
}

#[tokio::test(start_paused = true)]
async fn what_was_asked_before_the_listening_began_may_still_be_answered() {
    let mut bench = Bench::new().await;
    let pace = Pace::of(&Port::RtuOverTcp(String::new()));
    let lateness = Lateness::from([(UnitId::new(UNIT).unwrap(), LATE_AT_MOST)]);
    bench.ear = Ear::new(pace, ANSWER_WITHIN, lateness, Instant::now());
    bench.exchange(5, 1).await;
    bench.pause(2600).await;
    bench.exchange(6, 2).await;
    assert_eq!(bench.values(), [(5, None), (6, Some(2))]);
}

/// A read of 20 coils and a read of coils from 0x0310 on look alike as answer and request.
#[tokio::test(start_paused = true)]
async fn a_request_is_never_taken_for_an_answer() {
    let mut bench = Bench::new().await;
    for _ in 0..10 {
        bench.frame(UNIT, &[1, 0, 0, 0, 20]);
        bench.pause(250).await;
        bench.frame(UNIT, &[1, 3, 0x10, 0, 8]);
        bench.pause(250).await;
    }
    assert!(bench.values().iter().all(|(_, value)| value.is_none()));
}

#[tokio::test(start_paused = true)]
async fn an_acknowledged_write_is_no_reading_and_disturbs_none() {
    let mut bench = Bench::new().await;
    bench.frame(UNIT, &[6, 0, 5, 0, 9]);
    bench.frame(UNIT, &[6, 0, 5, 0, 9]);
    bench.frame(UNIT, &[16, 0, 5, 0, 1, 2, 0, 9]);
    bench.frame(UNIT, &[16, 0, 5, 0, 1]);
    bench.asks(5, 1);
    bench.answers(&[8]);
    assert_eq!(bench.values(), [(5, Some(8))]);
}
