//! Faults happen as often as they should, and none gets past the check that must catch it.

use super::super::crc::is_sealed;
use super::*;

fn request() -> Vec<u8> {
    sealed(vec![7, 3, 0, 0, 0, 4])
}

fn answer() -> Vec<u8> {
    sealed(vec![
        7, 3, 8, 0x13, 0x24, 0x13, 0xEC, 0x01, 0x9D, 0x00, 0x01,
    ])
}

/// What comes when only `fault` happens, `n` times.
fn only(fault: Fault, n: usize) -> Vec<Vec<Sending>> {
    let mut faults = Faults::new(1).with(fault, 1.0);
    (0..n)
        .map(|_| faults.sendings(&request(), answer()))
        .collect()
}

#[test]
fn without_chances_every_answer_comes_as_it_is() {
    let mut faults = Faults::new(1);
    let sent = faults.sendings(&request(), answer());
    assert_eq!(sent, [Sending::at_once(answer())]);
}

#[test]
fn a_corrupted_or_truncated_answer_never_has_a_right_check() {
    for fault in [Fault::Corrupted, Fault::Truncated] {
        for sent in only(fault, 100_000) {
            let [sending] = sent.as_slice() else {
                panic!("{sent:?}");
            };
            assert!(
                !is_sealed(&sending.bytes),
                "{fault}: {:02X?}",
                sending.bytes
            );
        }
    }
}

#[test]
fn each_kind_puts_on_the_wire_what_its_name_says() {
    let sent = |fault| only(fault, 1).remove(0);
    assert!(sent(Fault::Lost).is_empty());
    assert_eq!(sent(Fault::Duplicated).len(), 2);
    assert_eq!(sent(Fault::Echo)[0].bytes, request());
    assert_eq!(sent(Fault::Echo)[1].bytes, answer());
    let foreign = sent(Fault::Foreign);
    assert!(foreign[0].bytes[0] == 8 && is_sealed(&foreign[0].bytes));
    assert_eq!(foreign[1].bytes, answer());
    assert_eq!(sent(Fault::Noise)[1].bytes, answer());
    let late = sent(Fault::Late);
    assert!(late[0].after >= Duration::from_millis(300) && late[0].bytes == answer());
    let refused = sent(Fault::Exception);
    assert_eq!(refused[0].bytes, sealed(vec![7, 0x83, 6]));
}

/// Closed form: a share of 5 % of 100,000 within four standard deviations (69 each).
#[test]
fn a_fault_happens_as_often_as_its_chance_says() {
    let mut faults = Fault::ALL
        .into_iter()
        .fold(Faults::new(9), |faults, kind| faults.with(kind, 0.05));
    let mut counts: BTreeMap<Fault, u32> = BTreeMap::new();
    for _ in 0..100_000 {
        for fault in faults.draw() {
            *counts.entry(fault).or_default() += 1;
        }
    }
    for (fault, count) in counts {
        assert!(count.abs_diff(5000) < 276, "{fault}: {count}");
    }
}

#[test]
fn a_script_strikes_exactly_where_it_says() {
    let mut faults = Faults::new(1).at(2, Fault::Lost);
    let silent: Vec<bool> = (0..5)
        .map(|_| faults.sendings(&request(), answer()).is_empty())
        .collect();
    assert_eq!(silent, [false, false, true, false, false]);
}

#[test]
fn a_faults_name_is_understood_and_nonsense_answered_with_the_names() {
    for fault in Fault::ALL {
        assert_eq!(fault.name().parse(), Ok(fault));
    }
    assert!("bad".parse::<Fault>().unwrap_err().contains("late, lost"));
}
