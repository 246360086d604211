//! Two hundred simulated recordings with known truth: whatever happened in them is found where it
//! happened, and nothing else is.
//!
//! Steps, ramps and tunes are judged to the row, also their ends; where a tune is inferred, to two rows,
//! and to where the output leaves its levels, and one that chatters or has too few cycles may be missed.
//! Output steps are judged to the row of their beginning, since their end is a matter of definition. A
//! disturbance begins where the line leaves the band, which noise moves: between the true temperature's
//! passing of the band less and of the band more a margin; opened doors that surely do that must be found,
//! and none may be where the true temperature stayed well inside. Where it was outside for another reason
//! (the tail of a step, a swing after a tune, an output by hand that nobody knows of) one may be found:
//! when a loop has settled is a definition. So are holds and soaks, which are not judged here but by
//! `tests/peers/episodes.py`.
//!
//! `EMBERLINE_SIMULATED=FOLDER cargo test --test it write_simulated` leaves them in a folder.

mod acts;
mod dice;
mod files;
mod flaws;
mod judge;
mod plan;
mod truth;
mod workshop;

use std::fs;

use emberline::record::{CsvColumns, open_source};

use judge::faults;
use plan::recording;

/// Every so many are one test, so that the tests run beside each other.
const SHARES: u64 = 4;
const RECORDINGS: u64 = 200;

fn share(which: u64) {
    let folder = tempfile::tempdir().unwrap();
    let mut found = Vec::new();
    for seed in (which..RECORDINGS).step_by(SHARES as usize) {
        let simulated = recording(seed);
        let path = simulated.write(folder.path());
        found.extend(faults(&simulated, &path));
    }
    assert!(found.is_empty(), "{}", found.join("\n"));
}

#[test]
fn what_happened_is_found_and_nothing_else_in_the_first_share() {
    share(0);
}

#[test]
fn what_happened_is_found_and_nothing_else_in_the_second_share() {
    share(1);
}

#[test]
fn what_happened_is_found_and_nothing_else_in_the_third_share() {
    share(2);
}

#[test]
fn what_happened_is_found_and_nothing_else_in_the_fourth_share() {
    share(3);
}

/// Of each kind there are enough that the tests above mean something.
#[test]
fn the_recordings_hold_many_of_every_kind() {
    let mut counts = std::collections::BTreeMap::new();
    for seed in 0..RECORDINGS {
        for happened in recording(seed).truth.iter().filter(|it| it.certain) {
            *counts.entry(happened.kind).or_insert(0) += 1;
        }
    }
    for kind in [
        "setpoint-step",
        "ramp",
        "autotune",
        "output-step",
        "disturbance",
    ] {
        assert!(
            counts.get(kind).is_some_and(|count| *count > 50),
            "{counts:?}"
        );
    }
}

/// All into a folder where one is named, else a few into a temporary one; each reads back whole.
#[test]
fn write_simulated_recordings() {
    let temporary = tempfile::tempdir().unwrap();
    let named = std::env::var_os("EMBERLINE_SIMULATED");
    let count = if named.is_some() { RECORDINGS } else { 5 };
    let folder = named.map_or_else(|| temporary.path().to_owned(), Into::into);
    fs::create_dir_all(&folder).unwrap();
    for seed in 0..count {
        let simulated = recording(seed);
        let path = simulated.write(&folder);
        let opened = open_source(&path, &CsvColumns::default()).unwrap();
        let record = opened.read().unwrap().0.loops.remove(0);
        let good = simulated.rows.iter().filter(|row| row.pv.is_some()).count();
        assert_eq!(record.time_s.len(), good, "{}", simulated.name);
    }
}
