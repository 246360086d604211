//! A day in virtual time with everything that happens to a small computer; the week is a benchmark.

use std::path::Path;
use std::time::Duration;

use chrono::TimeDelta;
use emberline::record::{
    CsvColumns, FileState, Follower, Source, Verified, VerifiedLoop, open_source, tables, verify,
};
use emberline::sample::{Entry, Happening};

use super::long::{BEGAN, Blow, LOOP, Long};
use super::played::paused;

const DAY: u32 = 24 * 60 * 60;
/// Of exchanges, for each of eight kinds of fault: together one in about two minutes.
const SHARE: f64 = 0.001;

fn hours(count: f64) -> Duration {
    Duration::from_secs_f64(3600.0 * count)
}

/// A recording of so many polls with these blows, and what is found in it.
fn played(into: &Path, polls: u32, blows: &[(Duration, Blow)]) -> Verified {
    let folder = paused().block_on(async { Long::new(into, polls, SHARE).play(blows).await });
    let verified = verify(&folder).unwrap();
    assert!(verified.is_whole(), "{:?}", verified.loops);
    let files = &verified.files;
    assert!(files.iter().all(|(_, state)| *state == FileState::Whole));
    verified
}

fn the_loop(verified: &Verified) -> &VerifiedLoop {
    let [the_loop] = verified.loops.as_slice() else {
        unreachable!("one loop");
    };
    the_loop
}

fn read(path: &Path) -> Source {
    let opened = open_source(path, &CsvColumns::default()).unwrap();
    opened.read().unwrap().0
}

#[track_caller]
fn count(verified: &Verified, what: Happening) -> usize {
    let source = read(&verified.folder);
    let events = source.loops[0].events.iter();
    events.filter(|event| event.what == Some(what)).count()
}

#[test]
fn a_day_of_faults_steps_restarts_and_sleep_has_a_row_for_every_poll() {
    let into = tempfile::tempdir().unwrap();
    let blows = [
        (hours(1.0), Blow::Step(TimeDelta::hours(7))),
        (
            hours(3.0),
            Blow::Death(Duration::from_secs(95), TimeDelta::zero()),
        ),
        (hours(6.0), Blow::Step(-TimeDelta::hours(9))),
        (
            hours(8.0),
            Blow::Death(Duration::from_millis(300), TimeDelta::zero()),
        ),
        (hours(9.0), Blow::Sleep(hours(2.5))),
        (hours(12.0), Blow::Death(hours(1.0), TimeDelta::zero())),
    ];
    let verified = played(into.path(), DAY, &blows);
    let found = the_loop(&verified);
    assert_eq!((found.rows, found.scheduled), (DAY.into(), DAY.into()));
    let by_s: Vec<f64> = found.clock_steps.iter().map(|(.., by_s)| *by_s).collect();
    assert_eq!(by_s, [7.0 * 3600.0, -9.0 * 3600.0]);
    assert_eq!(count(&verified, Happening::Restarted), 3);
    assert_eq!(count(&verified, Happening::Suspended), 1);
    // The sleep and the downtimes, to the rows that were on their way.
    let away = found.states["not-running"];
    let least = 9000 + 95 + 3600;
    assert!((least..least + 15).contains(&away), "{away} rows");
    assert!(found.states["good"] > 70_000, "{:?}", found.states);
    assert!(found.states["no-answer"] > 20, "{:?}", found.states);
}

#[test]
fn every_reader_takes_a_clock_that_was_set_back_over_midnight() {
    let into = tempfile::tempdir().unwrap();
    // On to the next day, back to the first, and with it to a name that is taken; on again.
    let blows = [
        (hours(0.1), Blow::Step(TimeDelta::hours(20))),
        (hours(0.2), Blow::Step(-TimeDelta::hours(20))),
        (hours(0.3), Blow::Step(TimeDelta::hours(20))),
        (
            hours(0.35),
            Blow::Death(Duration::from_secs(20), TimeDelta::zero()),
        ),
    ];
    let polls = 1800;
    let verified = played(into.path(), polls, &blows);
    assert_eq!(the_loop(&verified).rows, u64::from(polls));
    let table = tables(&verified.folder, false).unwrap().remove(0);
    let names = table.files.iter().map(|it| it.file_name().unwrap());
    let names: Vec<_> = names.map(|it| it.to_string_lossy()).collect();
    let days = ["2027-03-04", "2027-03-05", "2027-03-04_2", "2027-03-05_2"];
    assert_eq!(names, days.map(|day| format!("{day}.csv")));

    let mut rows = table.rows(&CsvColumns::default(), true).unwrap();
    let mut last_s = -1.0;
    let mut count = 0;
    while let Some(row) = rows.next_row().unwrap() {
        let time_s = row.unwrap().time_s.unwrap();
        assert!(time_s > last_s, "{time_s} after {last_s}");
        last_s = time_s;
        count += 1;
    }
    assert_eq!(count, polls);

    let source = read(&verified.folder.join(LOOP));
    let record = &source.loops[0];
    assert_eq!(record.rows, polls as usize);
    let wall = |elapsed_s: f64| record.wall_time(elapsed_s).unwrap().to_rfc3339();
    assert_eq!(wall(0.0), BEGAN.replace('Z', "+00:00"));
    assert_eq!(wall(500.0), "2027-03-05T02:08:20+00:00");
    assert_eq!(wall(900.0), "2027-03-04T06:15:00+00:00");

    let news = Follower::open(&verified.folder).unwrap().news().unwrap();
    let is_sample = |entry: &&Entry| matches!(entry, Entry::Sample(_));
    assert_eq!(news.iter().filter(is_sample).count(), polls as usize);
    assert!(news.is_sorted_by_key(|entry| entry.stamp().elapsed));
}

#[test]
fn a_boot_on_a_false_date_goes_on_and_the_step_that_ends_it_tells_the_downtime() {
    let into = tempfile::tempdir().unwrap();
    let (down, off) = (Duration::from_mins(10), TimeDelta::days(400));
    let minutes = |count: u64| Duration::from_secs(60 * count);
    let blows = [
        (minutes(10), Blow::Death(down, -off)),
        (minutes(25), Blow::Step(off)),
    ];
    let verified = played(into.path(), 1800, &blows);
    let found = the_loop(&verified);
    // Nobody knew of the downtime when the rows went on.
    assert!(!found.states.contains_key("not-running"), "{found:?}");
    let [(back_s, false_date, _), (on_s, right, by_s)] = found.clock_steps[..] else {
        unreachable!("{:?}", found.clock_steps);
    };
    assert!((599.0..=600.0).contains(&back_s), "{back_s}");
    assert_eq!(false_date.format("%Y-%m-%d").to_string(), "2026-01-28");
    assert!((899.0..=901.0).contains(&on_s), "{on_s}");
    assert_eq!(right.format("%H:%M").to_string(), "06:25");
    assert!((by_s - off.as_seconds_f64()).abs() < 1.0, "{by_s}");
    let source = read(&verified.folder);
    let mut events = source.loops[0].events.iter();
    let restart = events.find(|it| it.what == Some(Happening::Restarted));
    let text = &restart.unwrap().text;
    assert!(text.contains("how long is not known"), "{text}");
}
