//! How elapsed time and wall time lie beside a timer's instants: straight stretches, with a change
//! between each and the next.

use std::collections::VecDeque;
use std::time::Duration;

use chrono::{DateTime, TimeDelta, Utc};
use tokio::time::Instant;

use super::Stamp;
use super::machine::Reading;

/// Wall time is anchored anew when it is off by so much. Half of the shortest usual time between two
/// polls; common practice, no source.
pub const ANCHORED_WITHIN: Duration = Duration::from_millis(500);
/// The machine slept if the clock that does not sleep is so far ahead of the one that does.
const SLEPT: Duration = Duration::from_millis(500);
/// The program was stopped if nobody looked at the clock for so long, which is done every two seconds.
pub const STOPPED_AFTER: Duration = Duration::from_secs(10);
/// So many changes are kept: more than a day of the fastest drift a time server corrects
/// (500 ppm, ntp_adjtime(2), MAXFREQ).
const KEPT: usize = 256;

/// What became of the machine's clocks.
#[derive(Clone, Copy, Debug, PartialEq, Eq)]
pub enum Change {
    /// The system's clock was set, or has drifted away bit by bit.
    Step {
        /// When, and the wall time that it would have been.
        from: Stamp,
        /// The wall time that it is.
        to: DateTime<Utc>,
    },
    /// Nothing ran.
    Away {
        /// From when on, within the time between two looks at the clock.
        from: Stamp,
        /// Until when.
        to: Stamp,
        /// Surely the whole machine slept; else the program may have been stopped.
        is_asleep: bool,
    },
}

/// From an instant on, elapsed time and wall time go on from here.
#[derive(Clone, Copy, Debug)]
pub(super) struct Stretch {
    at: Instant,
    elapsed: Duration,
    time: DateTime<Utc>,
    /// What made it a new one.
    change: Option<Change>,
}

/// The stretches up to now.
#[derive(Debug)]
pub(super) struct Course {
    earlier: VecDeque<Stretch>,
    now: Stretch,
    /// Stretches there ever were.
    count: u64,
    last: Option<Reading>,
}

impl Stretch {
    /// Elapsed time begins.
    pub(super) fn beginning(at: Instant, time: DateTime<Utc>) -> Self {
        Self {
            at,
            elapsed: Duration::ZERO,
            time,
            change: None,
        }
    }

    /// Elapsed time goes on, `gap` after `last`.
    pub(super) fn going_on(at: Instant, last: Stamp, gap: Duration) -> Self {
        Self {
            at,
            elapsed: last.elapsed + gap,
            time: last.time + gap,
            change: None,
        }
    }

    fn of(&self, instant: Instant) -> Stamp {
        let since = instant.saturating_duration_since(self.at);
        let before = self.at.saturating_duration_since(instant);
        let elapsed = (self.elapsed + since).saturating_sub(before);
        let time = self.time(elapsed);
        Stamp { elapsed, time }
    }

    fn time(&self, elapsed: Duration) -> DateTime<Utc> {
        let before = self.elapsed.saturating_sub(elapsed);
        self.time + elapsed.saturating_sub(self.elapsed) - before
    }

    fn instant(&self, elapsed: Duration) -> Instant {
        let before = self.elapsed.saturating_sub(elapsed);
        // Some systems have no instants from before they were started.
        let begin = self.at.checked_sub(before).unwrap_or(self.at);
        begin + elapsed.saturating_sub(self.elapsed)
    }
}

impl Course {
    pub(super) fn beginning(now: Stretch) -> Self {
        Self {
            earlier: VecDeque::new(),
            now,
            count: 1,
            last: None,
        }
    }

    /// The clocks have been read once.
    pub(super) fn seen(mut self, reading: Reading) -> Self {
        self.last = Some(reading);
        self
    }

    /// Takes what the machine's clocks say now; whether anything changed.
    pub(super) fn take(&mut self, reading: Reading) -> bool {
        let before = self.count;
        self.note_absence(reading);
        self.note_step(reading);
        self.last = Some(reading);
        self.count > before
    }

    fn note_absence(&mut self, reading: Reading) {
        let Some(last) = self.last else { return };
        let running = reading.at.saturating_duration_since(last.at);
        let in_all = reading.since_boot.zip(last.since_boot);
        let in_all = in_all.map_or(running, |(now, then)| now.saturating_sub(then));
        let slept = in_all.saturating_sub(running);
        let is_asleep = slept >= SLEPT;
        let slept = if is_asleep { slept } else { Duration::ZERO };
        let is_stopped = running >= STOPPED_AFTER;
        if !is_asleep && !is_stopped {
            return;
        }
        let from = self.of(if is_stopped { last.at } else { reading.at });
        let now = self.of(reading.at);
        let to = Stamp {
            elapsed: now.elapsed + slept,
            time: now.time + slept,
        };
        let change = Change::Away {
            from,
            to,
            is_asleep,
        };
        self.go_on(reading.at, to, change);
    }

    fn note_step(&mut self, reading: Reading) {
        let from = self.of(reading.at);
        let off = (reading.wall - from.time).abs();
        if off >= TimeDelta::from_std(ANCHORED_WITHIN).unwrap_or(TimeDelta::MAX) {
            let to = reading.wall;
            let now = Stamp { time: to, ..from };
            self.go_on(reading.at, now, Change::Step { from, to });
        }
    }

    fn go_on(&mut self, at: Instant, now: Stamp, change: Change) {
        let now = Stretch {
            at,
            elapsed: now.elapsed,
            time: now.time,
            change: Some(change),
        };
        self.earlier
            .push_back(std::mem::replace(&mut self.now, now));
        self.count += 1;
        if self.earlier.len() == KEPT {
            self.earlier.pop_front();
        }
    }

    /// From the latest back to the earliest that is kept.
    fn back(&self) -> impl Iterator<Item = &Stretch> {
        std::iter::once(&self.now).chain(self.earlier.iter().rev())
    }

    fn earliest(&self) -> &Stretch {
        self.earlier.front().unwrap_or(&self.now)
    }

    pub(super) fn of(&self, instant: Instant) -> Stamp {
        let stretch = self.back().find(|it| it.at <= instant);
        stretch.unwrap_or(self.earliest()).of(instant)
    }

    pub(super) fn time(&self, elapsed: Duration) -> DateTime<Utc> {
        let stretch = self.back().find(|it| it.elapsed <= elapsed);
        stretch.unwrap_or(self.earliest()).time(elapsed)
    }

    pub(super) fn instant(&self, elapsed: Duration) -> Instant {
        let mut end = None;
        for stretch in self.back() {
            if stretch.elapsed <= elapsed {
                let instant = stretch.instant(elapsed);
                return end.map_or(instant, |end: Instant| end.min(instant));
            }
            end = Some(stretch.at);
        }
        self.earliest().instant(elapsed)
    }

    pub(super) fn was_away(&self, from: Duration, to: Duration) -> bool {
        let changes = self.back().filter_map(|it| it.change);
        changes.into_iter().any(|change| match change {
            Change::Away {
                from: began,
                to: ended,
                ..
            } => began.elapsed < to && from < ended.elapsed,
            Change::Step { .. } => false,
        })
    }

    /// Stretches there ever were.
    pub(super) fn count(&self) -> u64 {
        self.count
    }

    /// The changes that began the stretches from this number on, in order.
    pub(super) fn changes_from(&self, number: u64) -> Vec<Change> {
        let new = self.count.saturating_sub(number) as usize;
        let new: Vec<Change> = self.back().take(new).filter_map(|it| it.change).collect();
        new.into_iter().rev().collect()
    }
}
