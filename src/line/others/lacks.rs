//! Why a loop's points were not heard, in words.

use std::time::Duration;

use super::census::Census;
use super::fill::polled;
use super::pairing::{Outcome, Overheard};
use crate::figures;
use crate::line::failure::{describe, exception_name};
use crate::map::{Map, Place, Point};
use crate::setup::UnitId;

/// What was heard on a line, for how long.
pub(crate) struct Heard<'a> {
    pub(crate) port: &'a str,
    pub(crate) census: &'a Census,
    pub(crate) lasted: Duration,
}

impl Heard<'_> {
    /// What is missing of a unit: what, where, what to do; nothing where every point was heard.
    pub(crate) fn lacks(&self, unit: UnitId, map: &Map, overheard: &[Overheard]) -> Vec<String> {
        if overheard.is_empty() {
            return vec![self.unheard(unit)];
        }
        let mut told: Vec<String> = Vec::new();
        let polled = polled(map, overheard);
        let came = |place: &Place| polled.image.raw(place).is_some();
        for one in overheard {
            let concerned = map.points.iter().filter(|it| it.place.overlaps(&one.asked));
            if concerned.map(|it| it.place).all(|place| came(&place)) {
                continue;
            }
            let sentence = self.of_read(one);
            if !told.contains(&sentence) {
                told.push(sentence);
            }
        }
        told.extend(self.unasked(unit, map, overheard));
        told
    }

    fn unheard(&self, unit: UnitId) -> String {
        let (unit, port, lasted) = (unit.get(), self.port, figures::wait(self.lasted));
        if self.census.frames > 0 {
            let others = self.census.units();
            return format!(
                "no read of unit {unit} was heard on {port} for {lasted}, but {others}\n\
                 help: check the unit number; the other master may not ask this unit, or less often ('--listen-for 1m')"
            );
        }
        if self.census.noise > 0 {
            let noise = self.census.noise;
            return format!(
                "{noise} bytes and no sound frame came on {port} for {lasted}\n\
                 help: check baud rate, parity and stop bits, then A/B and the line's termination"
            );
        }
        format!(
            "nothing at all was heard on {port} for {lasted}\n\
             help: check A/B wiring, baud rate and parity; if nobody polls this line, ask yourself, without --listen-only"
        )
    }

    fn of_read(&self, one: &Overheard) -> String {
        let (unit, port, place) = (one.unit.get(), self.port, describe(one.asked));
        match &one.outcome {
            Outcome::Missed => format!(
                "unit {unit} on {port} was asked for {place} by another master and did not answer\n\
                 help: check that it is on, and its wires"
            ),
            Outcome::Damaged => format!(
                "what unit {unit} on {port} answered to another master came damaged ({place})\n\
                 help: check A/B, the line's termination, and that no two units share a number"
            ),
            Outcome::Refused(code) => format!(
                "unit {unit} on {port} refused {place} to another master: exception {code:02X}, {}\n\
                 help: what is refused there cannot be heard here",
                exception_name(*code)
            ),
            Outcome::Unclear | Outcome::Came(_) => format!(
                "which request unit {unit} on {port} answered was not certain ({place})\n\
                 help: listen longer ('--listen-for 1m'); where it stays so, answers come late or twice"
            ),
        }
    }

    /// The trend points that nobody asked for.
    fn unasked(&self, unit: UnitId, map: &Map, overheard: &[Overheard]) -> Option<String> {
        let is_asked = |point: &Point| overheard.iter().any(|one| one.asked.overlaps(&point.place));
        let unasked = map.trend_points().filter(|point| !is_asked(point));
        let unasked: Vec<&str> = unasked.map(|point| point.name.as_str()).collect();
        if unasked.is_empty() {
            return None;
        }
        let mut asked: Vec<Place> = overheard.iter().map(|one| one.asked).collect();
        asked.sort_unstable();
        asked.dedup();
        let asked: Vec<String> = asked.into_iter().map(describe).collect();
        Some(format!(
            "nobody asked unit {} on {} for {}; asked were {}\n\
             help: only what the other master reads can be heard",
            unit.get(),
            self.port,
            unasked.join(", "),
            asked.join(", ")
        ))
    }
}
