//! The fixed grid on which a loop is polled: no drift, no bursts.

use std::time::Duration;

use tokio::time::Instant;

use crate::clock::{Clock, Stamp};
use crate::sample::Why;

/// A loop's grid: poll number n is due at n times `every` after the recording began.
#[derive(Clone, Debug)]
pub(crate) struct Grid {
    every: Duration,
    next: u32,
}

/// What to do with the next scheduled poll.
#[derive(Clone, Copy, Debug, PartialEq, Eq)]
pub(crate) enum Turn {
    /// Ask, until the next poll is due.
    Ask {
        /// When it was due.
        due: Stamp,
        /// When the next is due.
        until: Instant,
    },
    /// A row without an answer, due then, for this reason.
    GiveUp(Stamp, Why),
}

impl Grid {
    /// A grid whose first poll has this number.
    pub(crate) fn beginning_with(every: Duration, number: u32) -> Self {
        Self {
            every,
            next: number,
        }
    }

    /// When the next poll is due, since the beginning.
    pub(crate) fn due(&self) -> Duration {
        self.every * self.next
    }

    /// When the next poll must have been asked: when the one after it is due.
    pub(crate) fn deadline(&self, clock: &Clock) -> Instant {
        clock.instant(self.every * (self.next + 1))
    }

    /// When the next poll may start: when it is due, or when its unit may be asked again, if that is
    /// still within its period.
    pub(crate) fn start(&self, clock: &Clock, not_before: Option<Instant>) -> Instant {
        let due = clock.instant(self.due());
        not_before
            .filter(|free| *free < due + self.every)
            .map_or(due, |free| free.max(due))
    }

    /// Takes the next poll off the grid, whatever becomes of it; gives when it was due.
    pub(crate) fn take(&mut self, clock: &Clock) -> Stamp {
        let due = clock.at(self.due());
        self.next += 1;
        due
    }

    /// Takes the next poll off the grid.
    ///
    /// One whose period is over was skipped: the line had no time for it, unless nothing ran then. One
    /// whose unit cannot be asked within its period has no answer.
    pub(crate) fn turn(
        &mut self,
        clock: &Clock,
        now: Instant,
        not_before: Option<Instant>,
    ) -> Turn {
        let until = self.deadline(clock);
        let due = self.take(clock);
        if now >= until && clock.was_away(due.elapsed, due.elapsed + self.every) {
            Turn::GiveUp(due, Why::NotRunning)
        } else if now >= until {
            Turn::GiveUp(due, Why::Skipped)
        } else if not_before.is_some_and(|free| free >= until) {
            Turn::GiveUp(due, Why::NoAnswer)
        } else {
            Turn::Ask { due, until }
        }
    }
}

#[cfg(test)]
mod tests {
    use chrono::DateTime;

    use super::*;

    fn second(count: u64) -> Duration {
        Duration::from_secs(count)
    }

    #[tokio::test(start_paused = true)]
    async fn a_late_poll_is_skipped_and_the_grid_does_not_move() {
        let clock = Clock::starting_at(DateTime::UNIX_EPOCH);
        let mut grid = Grid::beginning_with(second(1), 0);
        let ask = |n: u64| Turn::Ask {
            due: clock.at(second(n)),
            until: clock.instant(second(n + 1)),
        };
        assert_eq!(grid.turn(&clock, clock.instant(second(0)), None), ask(0));
        let late = clock.instant(Duration::from_millis(3400));
        assert_eq!(
            grid.turn(&clock, late, None),
            Turn::GiveUp(clock.at(second(1)), Why::Skipped)
        );
        assert_eq!(
            grid.turn(&clock, late, None),
            Turn::GiveUp(clock.at(second(2)), Why::Skipped)
        );
        assert_eq!(grid.turn(&clock, late, None), ask(3));
        assert_eq!(grid.start(&clock, None), clock.instant(second(4)));
    }

    #[tokio::test(start_paused = true)]
    async fn a_unit_in_not_before_beyond_its_period_gives_a_row_at_once() {
        let clock = Clock::starting_at(DateTime::UNIX_EPOCH);
        let mut grid = Grid::beginning_with(second(1), 0);
        let free = clock.instant(Duration::from_millis(1500));
        assert_eq!(grid.start(&clock, Some(free)), clock.instant(second(0)));
        let first = grid.turn(&clock, clock.instant(second(0)), Some(free));
        assert_eq!(first, Turn::GiveUp(clock.at(second(0)), Why::NoAnswer));
        assert_eq!(grid.start(&clock, Some(free)), free);
    }
}
