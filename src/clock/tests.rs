use chrono::TimeDelta;
use tokio::time::advance;

use super::*;

/// Of a small computer that has not heard from a time server.
const FALSE_DATE: &str = "2025-11-02T00:00:07Z";

fn seconds(count: f64) -> Duration {
    Duration::from_secs_f64(count)
}

fn time(text: &str) -> DateTime<Utc> {
    text.parse().unwrap()
}

/// Time goes by, and the clock is looked at.
async fn pass(clock: &Clock, count: u32) {
    for _ in 0..count {
        advance(seconds(1.0)).await;
        clock.look();
    }
}

/// A clock on a machine, and what it tells.
fn on(machine: &Arc<Simulated>) -> (Clock, Changes) {
    let clock = Clock::on(machine.clone());
    let changes = clock.changes();
    (clock, changes)
}

#[tokio::test(start_paused = true)]
async fn a_set_clock_anchors_time_anew_and_elapsed_time_does_not_bend() {
    let machine = Simulated::starting_at(time(FALSE_DATE));
    let (clock, mut changes) = on(&machine);
    pass(&clock, 100).await;
    let by = time("2027-03-04T06:00:00Z") - machine.wall();
    machine.set_clock(by);
    let now = clock.now();
    assert_eq!(now.elapsed, seconds(100.0));
    assert_eq!(now.time, time("2027-03-04T06:00:00Z"));
    // A poll that was due before keeps the time it had.
    assert_eq!(clock.at(seconds(99.0)).time, time("2025-11-02T00:01:46Z"));
    let [Change::Step { from, to }] = changes.take()[..] else {
        panic!("one step");
    };
    assert_eq!((to - from.time, from.elapsed), (by, seconds(100.0)));
    assert_eq!(changes.take(), [], "told once");

    machine.set_clock(-TimeDelta::hours(1));
    advance(seconds(1.0)).await;
    assert_eq!(clock.now().time, time("2027-03-04T05:00:01Z"));
    assert_eq!(clock.now().elapsed, seconds(101.0));
}

#[tokio::test(start_paused = true)]
async fn half_a_second_is_a_step_however_it_came() {
    let machine = Simulated::starting_at(time("2027-03-04T06:00:00Z"));
    let (clock, mut changes) = on(&machine);
    machine.set_clock(TimeDelta::milliseconds(499));
    assert_eq!((changes.take(), clock.now().time), (vec![], clock.began()));
    machine.set_clock(-TimeDelta::milliseconds(499));
    // The most that a time server corrects bit by bit: half a second in a thousand seconds.
    machine.gain(500.0);
    let mut steps = Vec::new();
    for _ in 0..2500 {
        advance(seconds(1.0)).await;
        steps.extend(changes.take());
        let off = machine.wall() - clock.now().time;
        assert!(off < TimeDelta::milliseconds(500), "{off}");
    }
    assert_eq!(steps.len(), 2);
    assert_eq!(clock.now().elapsed, seconds(2500.0));
}

#[tokio::test(start_paused = true)]
async fn a_sleep_is_in_elapsed_time_and_timers_stand_still_in_it() {
    let machine = Simulated::starting_at(time("2027-03-04T06:00:00Z"));
    let (clock, mut changes) = on(&machine);
    advance(seconds(9.5)).await;
    clock.look();
    let before = Instant::now();
    machine.sleep(seconds(3600.0));
    let now = clock.now();
    assert_eq!(now.elapsed, seconds(3609.5));
    assert_eq!(now.time, time("2027-03-04T07:00:09.500Z"));
    let [
        Change::Away {
            from,
            to,
            is_asleep,
        },
    ] = changes.take()[..]
    else {
        panic!("one sleep");
    };
    assert!(is_asleep);
    assert_eq!((from.elapsed, to.elapsed), (seconds(9.5), seconds(3609.5)));
    // What was due in the sleep is due at its end; what is due later takes no longer than awake.
    assert_eq!(clock.instant(seconds(100.0)), before);
    assert_eq!(clock.instant(seconds(3610.0)), before + seconds(0.5));
    assert_eq!(clock.instant(seconds(9.0)), before - seconds(0.5));
    assert!(clock.was_away(seconds(100.0), seconds(101.0)));
    assert!(clock.was_away(seconds(9.0), seconds(10.0)));
    assert!(!clock.was_away(seconds(8.0), seconds(9.0)));
    assert!(!clock.was_away(seconds(3610.0), seconds(3611.0)));
    for elapsed in [0.0, 9.4, 3609.5, 4000.0] {
        let elapsed = seconds(elapsed);
        assert_eq!(clock.of(clock.instant(elapsed)).elapsed, elapsed);
    }
}

#[tokio::test(start_paused = true)]
async fn where_a_sleep_cannot_be_seen_it_is_a_step() {
    let machine = Simulated::that_cannot_tell_sleep(time("2027-03-04T06:00:00Z"));
    let (clock, mut changes) = on(&machine);
    machine.sleep(seconds(3600.0));
    assert_eq!(clock.now().elapsed, Duration::ZERO);
    assert!(matches!(changes.take()[..], [Change::Step { .. }]));
    assert_eq!(clock.now().time, time("2027-03-04T07:00:00Z"));
}

#[tokio::test(start_paused = true)]
async fn a_program_that_was_stopped_was_away_too() {
    let machine = Simulated::that_cannot_tell_sleep(time("2027-03-04T06:00:00Z"));
    let (clock, mut changes) = on(&machine);
    advance(seconds(9.0)).await;
    assert_eq!(changes.take(), [], "a machine may be busy");
    advance(seconds(30.0)).await;
    let [
        Change::Away {
            from,
            to,
            is_asleep,
        },
    ] = changes.take()[..]
    else {
        panic!("stopped once");
    };
    assert!(!is_asleep);
    assert_eq!((from.elapsed, to.elapsed), (seconds(9.0), seconds(39.0)));
    assert_eq!(clock.now().elapsed, seconds(39.0), "it is time that passed");
}

#[tokio::test(start_paused = true)]
async fn a_recording_that_goes_on_counts_the_gap_by_the_wall_clock() {
    let last = Stamp {
        elapsed: seconds(500.0),
        time: time("2027-03-04T06:30:00Z"),
    };
    let began = time(FALSE_DATE);
    let machine = Simulated::starting_at(time("2027-03-04T06:40:00Z"));
    let clock = Clock::going_on(machine, began, last);
    assert_eq!(clock.now().elapsed, seconds(1100.0));
    assert_eq!(clock.at(seconds(501.0)).time, time("2027-03-04T06:30:01Z"));
    assert_eq!(clock.changes().take(), []);
}

#[tokio::test(start_paused = true)]
async fn a_gap_that_no_clock_knows_is_none_and_the_step_that_ends_it_is_told() {
    let last = Stamp {
        elapsed: seconds(500.0),
        time: time("2027-03-04T06:30:00Z"),
    };
    let machine = Simulated::starting_at(time(FALSE_DATE));
    let clock = Clock::going_on(machine.clone(), last.time, last);
    let mut changes = clock.changes();
    assert_eq!(clock.now().elapsed, last.elapsed);
    assert_eq!(clock.now().time, time(FALSE_DATE));
    let [Change::Step { from, to }] = changes.take()[..] else {
        panic!("back to the false date");
    };
    assert_eq!((from, to), (last, time(FALSE_DATE)));
    pass(&clock, 60).await;
    machine.set_clock(time("2027-03-04T09:00:00Z") - machine.wall());
    assert_eq!(clock.now().elapsed, seconds(560.0));
    assert!(matches!(changes.take()[..], [Change::Step { .. }]));
}

#[tokio::test(start_paused = true)]
async fn a_thousand_changes_take_no_more_memory_and_none_is_told_twice() {
    let machine = Simulated::starting_at(time("2027-03-04T06:00:00Z"));
    let (clock, mut changes) = on(&machine);
    let mut told = 0;
    for n in 0..1000 {
        advance(seconds(1.0)).await;
        machine.set_clock(TimeDelta::seconds(if n % 2 == 0 { 5 } else { -5 }));
        told += changes.take().len();
    }
    assert_eq!(told, 1000);
    assert_eq!(clock.now().time, clock.began() + seconds(1000.0));
    assert_eq!(
        clock.at(seconds(999.5)).time,
        clock.began() + seconds(1004.5)
    );
}
