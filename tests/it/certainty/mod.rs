//! No value is ever credited to another register, nor an old one to a new request, whatever goes
//! wrong on the line; neither where we ask, nor where we listen to others who ask. The same trials with
//! a million exchanges: `cargo bench --bench certainty`.

mod judge;
mod listening;
mod trial;

use std::sync::Arc;

use emberline::clock::Clock;
use emberline::number::Number;
use emberline::sample::{Entry, Reading, Sample, State};
use judge::Judge;
use listening::Listening;
use mock_device::registers::counter::Counter;
use mock_device::wire::{Bus, in_memory, sealed};
use tokio::io::{AsyncReadExt as _, AsyncWriteExt as _};
use trial::Trial;

#[test]
fn no_answer_is_ever_credited_to_a_request_it_does_not_belong_to() {
    for trial in Trial::all(800) {
        let outcome = trial.run();
        let verdict = &outcome.verdict;
        assert_eq!(verdict.wrong(), 0, "{trial:?}: {outcome:?}");
        assert_eq!(verdict.polls, 1600, "{trial:?}: {outcome:?}");
        // Enough was asked and answered for something to be wrong.
        assert!(outcome.exchanges > 2000, "{trial:?}: {outcome:?}");
        assert!(verdict.values > 1500, "{trial:?}: {outcome:?}");
        for reason in ["no-answer", "port-lost", "refused"] {
            assert!(verdict.absent.contains_key(reason), "{trial:?}: {reason}");
        }
    }
}

#[test]
fn nothing_is_ever_credited_to_another_masters_request_that_it_does_not_belong_to() {
    for trial in Listening::all(8000) {
        let outcome = trial.run();
        let verdict = &outcome.verdict;
        assert_eq!(verdict.wrong(), 0, "{trial:?}: {outcome:?}");
        assert_eq!(verdict.polls, 16_000, "{trial:?}: {outcome:?}");
        assert_eq!(outcome.sent, 0, "{trial:?}: {outcome:?}");
        assert!(outcome.exchanges > 2000, "{trial:?}: {outcome:?}");
        assert!(verdict.values > 200, "{trial:?}: {outcome:?}");
    }
}

/// The value of a pair at `address`, as the first of two units tells it.
async fn told(wire: &mut tokio::io::DuplexStream, unit: u8, address: u8) -> u32 {
    let request = sealed(vec![unit, 3, 0, address, 0, 2]);
    wire.write_all(&request).await.unwrap();
    let mut answer = [0; 9];
    wire.read_exact(&mut answer).await.unwrap();
    tokio::time::advance(std::time::Duration::from_millis(1)).await;
    u32::from_be_bytes([answer[3], answer[4], answer[5], answer[6]])
}

#[tokio::test(start_paused = true)]
async fn a_value_of_another_unit_or_register_and_an_old_one_are_found_out() {
    let counters = [Counter::new(0, true), Counter::new(1, true)];
    let bus = Bus::new(Vec::new())
        .with_counter(1, counters[0].clone())
        .with_counter(3, counters[1].clone());
    let mut wire = in_memory(bus);
    let clock = Clock::starting_at(chrono::DateTime::UNIX_EPOCH);
    let setup = Trial::all(1)[0].setup();
    let (other_unit, other_register) = (told(&mut wire, 3, 0).await, told(&mut wire, 1, 2).await);
    let (old, good) = (told(&mut wire, 1, 0).await, told(&mut wire, 1, 0).await);
    for (value, wrong_register, old_answer) in [
        (good, 0, 0),
        (other_unit, 1, 0),
        (other_register, 1, 0),
        (old, 0, 1),
    ] {
        let mut judge = Judge::new(&setup, &counters, clock.clone());
        judge.look(&Entry::Sample(Sample {
            of: setup.loops[0].name.clone(),
            stamp: clock.now(),
            state: State::Good,
            readings: Arc::new([Reading::Good(Number::Decimal(value.into()))]),
            units: Arc::new([None]),
        }));
        let verdict = judge.verdict();
        assert_eq!(verdict.wrong_register, wrong_register, "{value:08X}");
        assert_eq!(verdict.old_answer, old_answer, "{value:08X}");
        assert_eq!((verdict.values, verdict.good), (1, 1));
    }
}
