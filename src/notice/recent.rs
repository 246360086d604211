//! Advice while it holds: judged by each unit's latest exchanges, not by all of them.

use std::collections::VecDeque;

use super::advice::{Advice, Exchanges, advise};
use crate::name::Name;
use crate::sample::Health;

/// A unit is judged by its latest exchanges, so many at least (common practice, no source). A unit
/// that answered for a week and fell silent is silent.
const ENOUGH: u64 = 6;

/// Follows the health of every loop of some lines.
#[derive(Clone, Debug, Default)]
pub struct AdviceWatch {
    /// Nothing is asked: another master's exchanges are judged.
    listens: bool,
    lines: Vec<LineWatch>,
}

#[derive(Clone, Debug)]
struct LineWatch {
    line: String,
    loops: Vec<(Name, Recent)>,
}

/// The counts of one loop as they were told, back to the latest that is [`ENOUGH`] exchanges old.
#[derive(Clone, Debug, Default)]
struct Recent {
    told: VecDeque<Exchanges>,
}

impl AdviceWatch {
    /// A watch over loops, each given with its line as people should read it. `listens` says that their
    /// exchanges are another master's.
    pub fn new<'a>(loops: impl IntoIterator<Item = (String, &'a Name)>, listens: bool) -> Self {
        let mut watch = Self {
            listens,
            ..Self::default()
        };
        for (line, name) in loops {
            let one = (name.clone(), Recent::default());
            match watch.lines.iter_mut().find(|known| known.line == line) {
                Some(known) => known.loops.push(one),
                None => watch.lines.push(LineWatch {
                    line,
                    loops: vec![one],
                }),
            }
        }
        watch
    }

    /// Takes in how a loop's unit answers.
    pub fn on(&mut self, health: &Health) {
        let loops = self.lines.iter_mut().flat_map(|line| &mut line.loops);
        for (_, recent) in loops.filter(|(name, _)| *name == health.of) {
            recent.take(Exchanges::of(health));
        }
    }

    /// What should be checked now, on lines whose every loop has told how its unit answers: the first
    /// silent one does not speak for all.
    pub fn advice(&self) -> Vec<Advice> {
        let of_line = |line: &LineWatch| {
            let recent = |(name, recent): &(Name, Recent)| (name.clone(), recent.exchanges());
            let loops: Vec<_> = line.loops.iter().map(recent).collect();
            advise(&line.line, &loops, ENOUGH, self.listens)
        };
        let has_told = |(_, recent): &(Name, Recent)| !recent.told.is_empty();
        let is_known = |line: &&LineWatch| line.loops.iter().all(has_told);
        self.lines
            .iter()
            .filter(is_known)
            .flat_map(of_line)
            .collect()
    }
}

impl Recent {
    fn take(&mut self, now: Exchanges) {
        // A line without a port tells the same again and again.
        if self.told.back() != Some(&now) {
            self.told.push_back(now);
        }
        while self
            .told
            .get(1)
            .is_some_and(|next| now.since(next).total() >= ENOUGH)
        {
            self.told.pop_front();
        }
    }

    fn exchanges(&self) -> Exchanges {
        match (self.told.front(), self.told.back()) {
            (Some(first), Some(last)) if last.since(first).total() >= ENOUGH => last.since(first),
            // All that is known yet.
            (_, Some(last)) => *last,
            _ => Exchanges::default(),
        }
    }
}

#[cfg(test)]
mod tests {
    use super::*;
    use crate::clock::Stamp;
    use crate::notice::advice::Pattern;
    use crate::sample::Why;
    use std::time::Duration;

    fn health(answered: u64, silent: u64, port_lost: u64) -> Health {
        Health {
            of: "a".parse().unwrap(),
            stamp: Stamp::default(),
            answered,
            lost: vec![(Why::NoAnswer, silent), (Why::PortLost, port_lost)],
            alternations: 0,
            answer_times: None,
            longest_silence: Duration::ZERO,
            line_share: 0.0,
        }
    }

    /// What is advised after each of these.
    fn advised(told: &[Health]) -> Vec<Option<Pattern>> {
        let name = "a".parse().unwrap();
        let mut watch = AdviceWatch::new([("shop".to_owned(), &name)], false);
        let after = |health| {
            watch.on(health);
            watch.advice().first().map(|advice| advice.pattern)
        };
        told.iter().map(after).collect()
    }

    #[test]
    fn advice_comes_when_a_unit_falls_silent_after_a_week_and_goes_when_it_is_back() {
        let week = 604_800;
        let told = [
            health(week - 10, 0, 0),
            health(week, 0, 0),
            health(week, 4, 0),
            health(week, 5, 0),
            health(week, 7, 0),
            health(week, 8, 0),
            health(week + 8, 8, 0),
        ];
        let silent = Some(Pattern::LineSilent);
        let expected = [None, None, None, None, silent, silent, None];
        assert_eq!(advised(&told), expected);
    }

    #[test]
    fn a_unit_that_was_never_there_is_advised_on_at_the_first_telling() {
        assert_eq!(advised(&[health(0, 6, 0)]), [Some(Pattern::LineSilent)]);
        assert_eq!(advised(&[health(0, 5, 0)]), [None]);
    }

    #[test]
    fn a_silent_unit_that_tells_first_does_not_speak_for_the_line() {
        let names = ["a", "b"].map(|name| name.parse().unwrap());
        let loops = names.iter().map(|name| ("shop".to_owned(), name));
        let mut watch = AdviceWatch::new(loops, false);
        watch.on(&health(0, 9, 0));
        assert_eq!(watch.advice(), []);
        let of = names[1].clone();
        watch.on(&Health {
            of,
            ..health(9, 0, 0)
        });
        let patterns: Vec<Pattern> = watch.advice().iter().map(|one| one.pattern).collect();
        assert_eq!(patterns, [Pattern::UnitSilent]);
    }

    #[test]
    fn a_lost_port_ends_the_advice() {
        let told = [health(0, 9, 0), health(0, 9, 1)];
        assert_eq!(advised(&told), [Some(Pattern::LineSilent), None]);
    }
}
