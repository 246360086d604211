//! What is probably wrong with a line, from how its units' exchanges end, and what to check first.
//!
//! Which cause stands behind which pattern is common practice, no source.

use crate::name::Name;
use crate::sample::{Health, Why};

/// "Only" leaves room for a stray in ten (common practice, no source).
const ONLY: f64 = 0.9;
/// "Every second one" is a share between these two (common practice, no source)...
const EVERY_SECOND: std::ops::RangeInclusive<f64> = 0.4..=0.6;
/// ...in so many exchanges at least...
const EVERY_SECOND_OF: u64 = 6;
/// ...where this share of them ended otherwise than the one before.
const IN_TURN: f64 = 0.8;
/// So many loops are named; the others are counted.
const NAMED: usize = 3;

/// How the exchanges with one loop's unit ended.
#[derive(Clone, Copy, Debug, Default, PartialEq, Eq)]
pub struct Exchanges {
    /// With an answer, refusals included.
    pub answered: u64,
    /// With nothing.
    pub silent: u64,
    /// With a damaged frame.
    pub damaged: u64,
    /// With frames of others only.
    pub foreign: u64,
    /// With the loss of the port.
    pub port_lost: u64,
    /// How often one ended otherwise than the one before it.
    pub alternations: u64,
}

/// Something that a person should check.
#[derive(Clone, Debug, PartialEq, Eq)]
pub struct Advice {
    /// What is seen.
    pub pattern: Pattern,
    /// Whom it concerns, in words: the line, or the names of its loops.
    pub about: String,
    /// The loops it was seen at.
    pub loops: Vec<Name>,
}

/// A way in which exchanges fail.
#[derive(Clone, Copy, Debug, PartialEq, Eq, PartialOrd, Ord)]
pub enum Pattern {
    /// Nothing comes from any unit.
    LineSilent,
    /// Only damaged frames come, from every unit.
    LineDamaged,
    /// Only others are heard, whichever unit is asked.
    LineForeign,
    /// Nothing comes from this unit, while something comes from others.
    UnitSilent,
    /// Only damaged frames come from this unit, while others do better or worse.
    UnitDamaged,
    /// Only others are heard when this unit is asked.
    UnitForeign,
    /// Every second answer of this unit is damaged.
    EverySecondDamaged,
    /// Listening, and no other master gets an answer from any unit.
    LineUnheard,
    /// Listening, and no other master gets an answer from this unit.
    UnitUnheard,
}

/// What the exchanges of one unit look like.
#[derive(Clone, Copy, PartialEq, Eq)]
enum Trouble {
    Silent,
    Damaged,
    Foreign,
    EverySecond,
}

/// What to check about a line, given how the exchanges with each of its loops ended; nothing while
/// all is well, or while no pattern stands out.
///
/// A unit with fewer exchanges than `at_least` is not judged. `listens` says that they are another
/// master's, and a row for which nothing was heard counts as one.
pub fn advise(
    line: &str,
    loops: &[(Name, Exchanges)],
    at_least: u64,
    listens: bool,
) -> Vec<Advice> {
    let judged = |(name, exchanges): &(Name, Exchanges)| {
        let trouble = (exchanges.total() >= at_least).then(|| exchanges.trouble());
        (name.clone(), trouble.flatten(), exchanges.answered > 0)
    };
    let judged: Vec<_> = loops.iter().map(judged).collect();
    let does_any_answer = judged.iter().any(|(_, _, answers)| *answers);
    let kinds = [
        Trouble::Silent,
        Trouble::Damaged,
        Trouble::Foreign,
        Trouble::EverySecond,
    ];
    let of_kind = |kind: Trouble| {
        let names = judged
            .iter()
            .filter(|(_, trouble, _)| *trouble == Some(kind))
            .map(|(name, ..)| name.clone());
        (kind, names.collect::<Vec<_>>())
    };
    let found: Vec<_> = kinds
        .map(of_kind)
        .into_iter()
        .filter(|(_, names)| !names.is_empty())
        .collect();
    let is_whole_line = !does_any_answer && found.len() == 1;
    let told = |(kind, loops): (Trouble, Vec<Name>)| Advice {
        pattern: kind.pattern(is_whole_line, listens),
        about: if is_whole_line {
            line.to_owned()
        } else {
            listed(&loops)
        },
        loops,
    };
    found.into_iter().map(told).collect()
}

fn listed(names: &[Name]) -> String {
    let names: Vec<&str> = names.iter().map(Name::as_str).collect();
    match names.len().checked_sub(NAMED) {
        None | Some(0) => names.join(", "),
        Some(more) => format!("{} and {more} more", names[..NAMED].join(", ")),
    }
}

impl Exchanges {
    /// All since polling began.
    pub fn of(health: &Health) -> Self {
        let mut all = Self {
            answered: health.answered,
            alternations: health.alternations,
            ..Self::default()
        };
        for (why, count) in &health.lost {
            match why {
                Why::NoAnswer => all.silent += count,
                Why::Damaged => all.damaged += count,
                Why::Foreign => all.foreign += count,
                Why::PortLost => all.port_lost += count,
                // A refusal is an answer; the others are no exchanges.
                Why::Refused(_) | Why::Skipped | Why::NotRunning => {}
            }
        }
        all
    }

    /// Those that came after `earlier`.
    pub(super) fn since(&self, earlier: &Self) -> Self {
        Self {
            answered: self.answered.saturating_sub(earlier.answered),
            silent: self.silent.saturating_sub(earlier.silent),
            damaged: self.damaged.saturating_sub(earlier.damaged),
            foreign: self.foreign.saturating_sub(earlier.foreign),
            port_lost: self.port_lost.saturating_sub(earlier.port_lost),
            alternations: self.alternations.saturating_sub(earlier.alternations),
        }
    }

    pub(super) fn total(&self) -> u64 {
        self.answered + self.silent + self.damaged + self.foreign + self.port_lost
    }

    fn trouble(&self) -> Option<Trouble> {
        let total = self.total();
        let share = |count: u64| count as f64 / total as f64;
        // Without its port a unit cannot be judged, and that is said elsewhere.
        if total == 0 || self.port_lost > 0 {
            return None;
        }
        let takes_turns = self.alternations as f64 >= IN_TURN * (total - 1) as f64;
        if total >= EVERY_SECOND_OF && EVERY_SECOND.contains(&share(self.damaged)) && takes_turns {
            return Some(Trouble::EverySecond);
        }
        let kinds = [
            (Trouble::Silent, self.silent),
            (Trouble::Damaged, self.damaged),
            (Trouble::Foreign, self.foreign),
        ];
        let only = |(_, count): &(Trouble, u64)| self.answered == 0 && share(*count) >= ONLY;
        kinds.into_iter().find(only).map(|(kind, _)| kind)
    }
}

impl Trouble {
    fn pattern(self, is_whole_line: bool, listens: bool) -> Pattern {
        match (self, is_whole_line) {
            (Self::Silent, true) if listens => Pattern::LineUnheard,
            (Self::Silent | Self::Foreign, _) if listens => Pattern::UnitUnheard,
            (Self::Silent, true) => Pattern::LineSilent,
            (Self::Silent, false) => Pattern::UnitSilent,
            (Self::Damaged, true) => Pattern::LineDamaged,
            (Self::Damaged, false) => Pattern::UnitDamaged,
            (Self::Foreign, true) => Pattern::LineForeign,
            (Self::Foreign, false) => Pattern::UnitForeign,
            (Self::EverySecond, _) => Pattern::EverySecondDamaged,
        }
    }
}

impl Advice {
    /// What is seen, in a line of at most 80 characters where names are short.
    pub fn what(&self) -> String {
        format!("{}: {}", self.about, self.pattern.seen())
    }

    /// What to check first, in a line of less than 80 characters.
    pub fn first(&self) -> &'static str {
        self.pattern.first()
    }
}

impl Pattern {
    /// The word for it in `--json`.
    pub fn code(self) -> &'static str {
        match self {
            Self::LineSilent => "line-silent",
            Self::LineDamaged => "line-damaged",
            Self::LineForeign => "line-foreign",
            Self::UnitSilent => "unit-silent",
            Self::UnitDamaged => "unit-damaged",
            Self::UnitForeign => "unit-foreign",
            Self::EverySecondDamaged => "every-second-damaged",
            Self::LineUnheard => "line-unheard",
            Self::UnitUnheard => "unit-unheard",
        }
    }

    fn seen(self) -> &'static str {
        match self {
            Self::LineSilent => "nothing at all comes from any unit",
            Self::LineDamaged => "something comes, but every frame is damaged",
            Self::LineForeign => "only others are heard, no unit that is asked answers",
            Self::UnitSilent => "nothing at all comes from here",
            Self::UnitDamaged => "every frame from here is damaged",
            Self::UnitForeign => "only others are heard when this unit is asked",
            Self::EverySecondDamaged => "every second answer is damaged",
            Self::LineUnheard => "listening only, and no unit is heard to answer anybody",
            Self::UnitUnheard => "listening only, and this unit is not heard to answer",
        }
    }

    fn first(self) -> &'static str {
        match self {
            Self::LineSilent => {
                "supply, A/B wires, baud, parity, unit numbers, panels set to Modbus RTU"
            }
            Self::LineDamaged => {
                "baud rate, parity and stop bits, then A/B, termination and the shield"
            }
            Self::LineForeign => {
                "the unit numbers, and whether a panel or PLC already polls this line"
            }
            Self::UnitSilent => {
                "its unit number, Modbus RTU set and power cycled since, its own wires"
            }
            Self::UnitDamaged => {
                "that no two units share its number, then its parity and stop bits"
            }
            Self::UnitForeign => "its unit number at the panel and in the setup",
            Self::EverySecondDamaged => {
                "a longer 'gap' in its map, then other programs on this port"
            }
            Self::LineUnheard => {
                "A/B wires, baud, parity; or nobody polls: then leave --listen-only out"
            }
            Self::UnitUnheard => {
                "its unit number, and whether the other master asks it, and how often"
            }
        }
    }
}

#[cfg(test)]
mod tests {
    use super::*;

    const FINE: Exchanges = Exchanges {
        answered: 100,
        silent: 0,
        damaged: 0,
        foreign: 0,
        port_lost: 0,
        alternations: 0,
    };
    const NONE: Exchanges = Exchanges {
        answered: 0,
        ..FINE
    };
    const SILENT: Exchanges = Exchanges { silent: 9, ..NONE };
    const DAMAGED: Exchanges = Exchanges { damaged: 9, ..NONE };
    const FOREIGN: Exchanges = Exchanges { foreign: 9, ..NONE };

    /// The patterns found and whom they are about, with loops a, b, c on line `shop`.
    fn found(loops: &[Exchanges]) -> Vec<(Pattern, String)> {
        let names = ["a", "b", "c", "d", "e"].map(|name| name.parse().unwrap());
        let loops: Vec<_> = names.into_iter().zip(loops.iter().copied()).collect();
        let advice = advise("shop", &loops, 6, false);
        let parts = |advice: Advice| (advice.pattern, advice.about);
        advice.into_iter().map(parts).collect()
    }

    fn only(pattern: Pattern, about: &str) -> Vec<(Pattern, String)> {
        vec![(pattern, about.to_owned())]
    }

    #[test]
    fn a_line_where_all_is_well_needs_no_advice() {
        assert_eq!(found(&[FINE, FINE]), []);
        assert_eq!(found(&[]), []);
    }

    #[test]
    fn nothing_from_any_unit_is_about_the_line() {
        assert_eq!(found(&[SILENT]), only(Pattern::LineSilent, "shop"));
        assert_eq!(found(&[SILENT, SILENT]), only(Pattern::LineSilent, "shop"));
    }

    #[test]
    fn only_damaged_frames_are_about_the_line() {
        let found = found(&[DAMAGED, DAMAGED]);
        assert_eq!(found, only(Pattern::LineDamaged, "shop"));
    }

    #[test]
    fn only_frames_of_others_are_about_the_line() {
        let found = found(&[FOREIGN, FOREIGN]);
        assert_eq!(found, only(Pattern::LineForeign, "shop"));
    }

    #[test]
    fn where_nothing_is_asked_silence_is_another_masters() {
        let name: Name = "a".parse().unwrap();
        for (exchanges, pattern) in [
            (SILENT, Pattern::LineUnheard),
            (FOREIGN, Pattern::UnitUnheard),
            (DAMAGED, Pattern::LineDamaged),
        ] {
            let advice = advise("shop", &[(name.clone(), exchanges)], 6, true);
            assert_eq!(advice[0].pattern, pattern);
        }
    }

    #[test]
    fn one_unit_among_others_that_answer_is_about_the_unit() {
        let cases = [
            (SILENT, Pattern::UnitSilent),
            (DAMAGED, Pattern::UnitDamaged),
            (FOREIGN, Pattern::UnitForeign),
        ];
        for (exchanges, pattern) in cases {
            assert_eq!(found(&[FINE, exchanges, FINE]), only(pattern, "b"));
        }
    }

    #[test]
    fn units_that_fail_in_different_ways_are_told_apart() {
        let told = vec![
            (Pattern::UnitSilent, "a".to_owned()),
            (Pattern::UnitDamaged, "b".to_owned()),
        ];
        assert_eq!(found(&[SILENT, DAMAGED]), told);
    }

    #[test]
    fn every_second_one_damaged_needs_turns_and_not_only_a_share() {
        let in_turn = Exchanges {
            answered: 10,
            damaged: 10,
            alternations: 19,
            ..NONE
        };
        let pattern = Pattern::EverySecondDamaged;
        assert_eq!(found(&[FINE, in_turn]), only(pattern, "b"));
        assert_eq!(found(&[in_turn, in_turn]), only(pattern, "a, b"));
        // Noise that spoils half of them changes sides only half the time.
        let by_chance = Exchanges {
            alternations: 10,
            ..in_turn
        };
        assert_eq!(found(&[by_chance]), []);
    }

    #[test]
    fn a_stray_does_not_hide_a_pattern_and_a_mixture_is_none() {
        let stray = Exchanges {
            silent: 19,
            damaged: 1,
            ..NONE
        };
        assert_eq!(found(&[stray]), only(Pattern::LineSilent, "shop"));
        let mixed = Exchanges {
            silent: 5,
            damaged: 5,
            ..NONE
        };
        assert_eq!(found(&[mixed]), []);
    }

    #[test]
    fn a_unit_is_not_judged_by_few_exchanges_or_without_its_port() {
        let few = Exchanges { silent: 5, ..NONE };
        assert_eq!(found(&[few]), []);
        let unplugged = Exchanges {
            port_lost: 1,
            ..SILENT
        };
        assert_eq!(found(&[unplugged]), []);
    }

    #[test]
    fn many_loops_are_counted() {
        let five = [SILENT, SILENT, SILENT, SILENT, FINE];
        let about = "a, b, c and 1 more";
        assert_eq!(found(&five), only(Pattern::UnitSilent, about));
    }

    #[test]
    fn every_line_fits_a_small_terminal() {
        for pattern in [
            Pattern::LineSilent,
            Pattern::LineDamaged,
            Pattern::LineForeign,
            Pattern::UnitSilent,
            Pattern::UnitDamaged,
            Pattern::UnitForeign,
            Pattern::EverySecondDamaged,
            Pattern::LineUnheard,
            Pattern::UnitUnheard,
        ] {
            let first = format!(" first: {}", pattern.first());
            assert!(first.len() <= 80, "{} columns: {first}", first.len());
            let what = format!(" shop 9600 8E1: {}", pattern.seen());
            assert!(what.len() <= 80, "{} columns: {what}", what.len());
        }
    }
}
