//! How well one loop's unit answers: counts, answer times, silences.

use std::time::Duration;

use tokio::time::Instant;

use super::Failure;
use crate::clock::Stamp;
use crate::name::Name;
use crate::sample::{AnswerTimes, Health, Why};

/// Answer times are counted in steps of 5 %, from a tenth of a millisecond up.
const STEP: f64 = 1.05;
const LEAST_S: f64 = 1e-4;
const STEPS: usize = 280;

/// Counts of one loop's exchanges since polling began.
#[derive(Clone, Debug)]
pub(super) struct Tally {
    answered: u64,
    lost: Vec<(Why, u64)>,
    alternations: u64,
    /// How the latest exchange ended.
    was_answered: Option<bool>,
    took: Vec<u64>,
    slowest: Duration,
    busy: Duration,
    silent_since: Option<Instant>,
    longest_silence: Duration,
    /// Time to the start of an answer, smoothed.
    turnaround: Option<Duration>,
}

impl Tally {
    pub(super) fn new() -> Self {
        Self {
            answered: 0,
            lost: Vec::new(),
            alternations: 0,
            was_answered: None,
            took: vec![0; STEPS],
            slowest: Duration::ZERO,
            busy: Duration::ZERO,
            silent_since: None,
            longest_silence: Duration::ZERO,
            turnaround: None,
        }
    }

    /// An answer (or a refusal) came.
    pub(super) fn answer(&mut self, took: Duration, turnaround: Duration) {
        self.answered += 1;
        self.ended(true);
        self.took[step_of(took)] += 1;
        self.slowest = self.slowest.max(took);
        let smooth = |old: Duration| old.mul_f64(0.9) + turnaround.mul_f64(0.1);
        self.turnaround = Some(self.turnaround.map_or(turnaround, smooth));
        self.end_silence(Instant::now());
    }

    /// None came.
    pub(super) fn failure(&mut self, failure: &Failure) {
        self.ended(false);
        self.lose(failure.why());
    }

    /// A poll was given up without asking.
    pub(super) fn unasked(&mut self, why: Why) {
        self.lose(why);
    }

    fn lose(&mut self, why: Why) {
        match self.lost.iter_mut().find(|(known, _)| *known == why) {
            Some((_, count)) => *count += 1,
            None => self.lost.push((why, 1)),
        }
        self.silent_since.get_or_insert(Instant::now());
    }

    fn ended(&mut self, is_answered: bool) {
        let differs = self
            .was_answered
            .replace(is_answered)
            .is_some_and(|was| was != is_answered);
        self.alternations += u64::from(differs);
    }

    /// The line was in use for this unit.
    pub(super) fn used(&mut self, time: Duration) {
        self.busy += time;
    }

    pub(super) fn answered(&self) -> u64 {
        self.answered
    }

    pub(super) fn turnaround(&self) -> Option<Duration> {
        self.turnaround
    }

    fn end_silence(&mut self, now: Instant) {
        if let Some(since) = self.silent_since.take() {
            self.longest_silence = self.longest_silence.max(now - since);
        }
    }

    /// What may be told of it now.
    pub(super) fn health(&self, of: Name, stamp: Stamp) -> Health {
        let silence = self
            .silent_since
            .map_or(Duration::ZERO, |since| since.elapsed());
        let answer_times = (self.answered > 0).then(|| AnswerTimes {
            median: self.percentile(0.50),
            p95: self.percentile(0.95),
            p99: self.percentile(0.99),
            slowest: self.slowest,
        });
        Health {
            of,
            stamp,
            answered: self.answered,
            lost: self.lost.clone(),
            alternations: self.alternations,
            answer_times,
            longest_silence: self.longest_silence.max(silence),
            line_share: self.busy.as_secs_f64() / stamp.elapsed.as_secs_f64().max(1e-3),
        }
    }

    fn percentile(&self, part: f64) -> Duration {
        let wanted = (part * self.answered as f64).ceil() as u64;
        let mut so_far = 0;
        let reached = |count: &u64| {
            so_far += count;
            so_far >= wanted
        };
        let step = self.took.iter().position(reached).unwrap_or(STEPS - 1);
        Duration::from_secs_f64(LEAST_S * STEP.powf(step as f64)).min(self.slowest)
    }
}

fn step_of(took: Duration) -> usize {
    let steps = (took.as_secs_f64() / LEAST_S).max(1.0).ln() / STEP.ln();
    (steps.round() as usize).min(STEPS - 1)
}

#[cfg(test)]
mod tests {
    use super::*;

    #[tokio::test(start_paused = true)]
    async fn percentiles_are_within_a_step_of_the_truth() {
        let mut tally = Tally::new();
        for ms in 1..=1000 {
            tally.answer(Duration::from_millis(ms), Duration::ZERO);
        }
        for (part, ms) in [(0.50, 500.0), (0.95, 950.0), (0.99, 990.0)] {
            let found = tally.percentile(part).as_secs_f64() * 1000.0;
            assert!((found / ms - 1.0).abs() < 0.05, "{part}: {found} ms");
        }
    }

    #[tokio::test(start_paused = true)]
    async fn a_silence_lasts_from_the_first_loss_to_the_next_answer() {
        let mut tally = Tally::new();
        tally.failure(&Failure::NoAnswer);
        tokio::time::advance(Duration::from_secs(7)).await;
        tally.failure(&Failure::Damaged);
        tokio::time::advance(Duration::from_secs(2)).await;
        tally.answer(Duration::from_millis(10), Duration::ZERO);
        assert_eq!(tally.longest_silence, Duration::from_secs(9));
        assert_eq!(tally.lost, [(Why::NoAnswer, 1), (Why::Damaged, 1)]);
        assert_eq!(tally.alternations, 1);
    }
}
