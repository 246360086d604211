//! How well the lines answer, in as many words as there is room for.

use std::time::Duration;

use super::pen::width;
use crate::console::view::{LoopView, ScreenView};
use crate::console::words::count;
use crate::figures;
use crate::sample::{AnswerTimes, Health, Why};

/// The loops of one line, or one of them.
struct Group<'a> {
    line: &'a str,
    loops: Vec<&'a LoopView<'a>>,
    /// Share of the line's time that is used, by all of its loops.
    share: f64,
}

/// The health of the line of the loop shown alone, or of every line, in at most `room` columns.
pub(super) fn strip(view: &ScreenView, room: u16) -> String {
    let mut groups = by_line(view);
    if let Some(one) = view.alone.and_then(|i| view.loops.get(i)) {
        groups.retain(|group| group.line == one.line);
        for group in &mut groups {
            group.loops = vec![one];
        }
    }
    let shortened = |level: usize| {
        let told = groups.iter().map(|group| group.told(level));
        told.collect::<Vec<_>>().join("   ")
    };
    let fits = |text: &String| width(text) <= room;
    let longest = (1..=LEVELS).rev().map(shortened).find(fits);
    let in_few = || {
        let loops: Vec<&LoopView> = groups.iter().flat_map(|g| g.loops.clone()).collect();
        let lost = format!("{} lost", count(lost(&loops)));
        [lost_of(&loops), lost].into_iter().find(fits)
    };
    longest.or_else(in_few).unwrap_or_default()
}

/// Levels of detail: from the line with its losses to everything.
const LEVELS: usize = 6;

fn by_line<'a>(view: &'a ScreenView) -> Vec<Group<'a>> {
    let mut groups: Vec<Group> = Vec::new();
    for one in &view.loops {
        let share = one.health.map_or(0.0, |health| health.line_share);
        match groups.iter_mut().find(|group| group.line == one.line) {
            Some(group) => {
                group.loops.push(one);
                group.share += share;
            }
            None => groups.push(Group {
                line: one.line,
                loops: vec![one],
                share,
            }),
        }
    }
    groups
}

impl Group<'_> {
    /// What is said at a level of detail.
    fn told(&self, level: usize) -> String {
        let mut parts = vec![self.line.to_owned()];
        if let Some(times) = self.slowest().filter(|_| level >= 2) {
            let p95 = milliseconds(times.p95.max(Duration::from_millis(1)));
            let p95 = format!(", 95 % within {p95}");
            let p95 = if level >= 4 { p95.as_str() } else { "" };
            // Three digits, so that what follows keeps its column.
            parts.push(format!("{:>6}{p95}", milliseconds(times.median)));
        }
        let why = self.reasons().filter(|_| level >= 3);
        let lost = lost_of(&self.loops);
        parts.push(why.map_or(lost.clone(), |why| format!("{lost}: {why}")));
        if level >= 5
            && let Some(silence) = self.longest_silence()
        {
            parts.push(format!(
                "longest silence {}",
                figures::duration(silence.as_secs_f64())
            ));
        }
        if level >= 6 && self.share > 0.0 {
            parts.push(format!("line {:.0} % in use", 100.0 * self.share));
        }
        parts.join("  ")
    }

    /// The answer times of the loop that answers most slowly.
    fn slowest(&self) -> Option<AnswerTimes> {
        let times = self.healths().filter_map(|health| health.answer_times);
        times.max_by_key(|times| times.median)
    }

    fn longest_silence(&self) -> Option<Duration> {
        self.healths().map(|health| health.longest_silence).max()
    }

    fn healths(&self) -> impl Iterator<Item = &Health> {
        self.loops.iter().filter_map(|one| one.health)
    }

    fn reasons(&self) -> Option<String> {
        let mut counts: Vec<(&'static str, u64)> = Vec::new();
        for (why, lost) in self.loops.iter().flat_map(|one| one.lost) {
            let reason = reason(*why);
            match counts.iter_mut().find(|(known, _)| *known == reason) {
                Some((_, so_far)) => *so_far += lost,
                None => counts.push((reason, *lost)),
            }
        }
        counts.sort_by_key(|(_, lost)| std::cmp::Reverse(*lost));
        if let [(only, _)] = counts[..] {
            return Some(only.to_owned());
        }
        let told = counts
            .iter()
            .map(|(reason, lost)| format!("{} {reason}", count(*lost)));
        Some(told.collect::<Vec<_>>().join(", ")).filter(|text| !text.is_empty())
    }
}

fn lost_of(loops: &[&LoopView]) -> String {
    let polls = loops.iter().map(|one| one.polls).sum();
    format!("{} lost of {}", count(lost(loops)), count(polls))
}

fn lost(loops: &[&LoopView]) -> u64 {
    loops
        .iter()
        .flat_map(|one| one.lost)
        .map(|(_, lost)| lost)
        .sum()
}

/// Why a poll brought nothing, in a word or two.
fn reason(why: Why) -> &'static str {
    match why {
        Why::NoAnswer => "no answer",
        Why::Damaged => "damaged",
        Why::Refused(_) => "refused",
        Why::Foreign => "only others",
        Why::Skipped => "skipped",
        Why::PortLost => "port was gone",
        Why::NotRunning => "not polled",
    }
}

fn milliseconds(time: Duration) -> String {
    let ms = time.as_secs_f64() * 1000.0;
    if ms < 0.5 {
        return "<1 ms".to_owned();
    }
    format!("{ms:.0} ms")
}
