//! Holds, soaks and the disturbances in them.

use super::disturbance::{Disturbance, Search};
use super::episode::{Episode, EpisodeKind, Note};
use super::hold::{self, Holding};
use super::noise::{noise_sd, resolution};
use super::notes::band_in_noise;
use super::outline::{Outline, tune_at};
use super::own::DisturbanceNumbers;
use super::stretch::Stretch;
use crate::figures::amount;
use crate::trace::Mark;

/// A hold lasts longer than this.
pub(crate) const HOLD_S: f64 = 300.0;
/// Swings smaller than so many standard deviations of the noise are noise.
const SWING_OVER_NOISE: f64 = 3.0;

/// How the process value arrived after the setpoint had moved.
#[derive(Clone, Copy, Debug, PartialEq)]
pub(crate) struct Arrival {
    /// When the setpoint had its last value.
    pub(crate) at_s: f64,
    /// So long after it.
    pub(crate) settled_s: Option<f64>,
    pub(crate) is_ramp: bool,
}

/// What remains: the settled part of each step and ramp, and every stretch that no other episode
/// claims; with what disturbed it. `arrivals` are in order.
pub(crate) fn holds(outline: &Outline<'_>, arrivals: &[Arrival]) -> Vec<Episode> {
    let mut found = Vec::new();
    for (from_s, to_s) in outline.stretches() {
        let Some(beginning) = begins(outline, arrivals, from_s) else {
            continue;
        };
        if to_s - beginning.at_s > HOLD_S {
            let hold = Holding {
                from_s: beginning.at_s,
                to_s,
                setpoint: outline.setpoint_in_force(from_s),
                is_soak: beginning.is_soak,
                begins_settled: beginning.is_settled,
            };
            outline.add_hold(hold, &mut found);
        }
    }
    found
}

/// Where a hold begins.
struct Beginning {
    at_s: f64,
    is_soak: bool,
    is_settled: bool,
}

/// Where in the stretch that begins at `from_s` the hold begins, if anywhere.
fn begins(outline: &Outline<'_>, arrivals: &[Arrival], from_s: f64) -> Option<Beginning> {
    let is_stepping = outline
        .output_steps
        .binary_search_by(|step| step.at_s.total_cmp(&from_s))
        .is_ok();
    if outline.is_moving(from_s) || tune_at(&outline.tunes, from_s).is_some() || is_stepping {
        return None;
    }
    match arrivals.binary_search_by(|arrival| arrival.at_s.total_cmp(&from_s)) {
        Err(_) => Some(Beginning {
            at_s: from_s,
            is_soak: false,
            is_settled: false,
        }),
        Ok(index) => {
            let arrival = &arrivals[index];
            Some(Beginning {
                at_s: from_s + arrival.settled_s?,
                is_soak: arrival.is_ramp,
                is_settled: true,
            })
        }
    }
}

impl Outline<'_> {
    /// A hold, in parts where people made marks in it, and its disturbances.
    fn add_hold(&self, whole: Holding, found: &mut Vec<Episode>) {
        let line = Stretch::cut(self.trace, whole.from_s, whole.to_s);
        let sought = self.disturbances(whole, &line);
        let marks = self.options.told.marks.as_slice();
        let after = marks.partition_point(|mark| mark.at_s <= whole.from_s);
        let end = marks
            .partition_point(|mark| mark.at_s < whole.to_s)
            .max(after);
        let inside = &marks[after..end];
        let starts = [None].into_iter().chain(inside.iter().map(Some));
        let ends = inside.iter().map(|mark| mark.at_s).chain([whole.to_s]);
        for (mark, to_s) in starts.zip(ends) {
            let from_s = mark.map_or(whole.from_s, |mark| mark.at_s);
            if to_s - from_s > HOLD_S {
                let part = Holding {
                    from_s,
                    to_s,
                    ..whole
                };
                let mut episode = self.hold(part, mark);
                episode.notes.extend(sought.as_ref().err().cloned());
                found.push(episode);
            }
        }
        for disturbance in sought.unwrap_or_default() {
            found.push(self.disturbance(whole, disturbance));
        }
    }

    fn hold(&self, part: Holding, mark: Option<&Mark>) -> Episode {
        let kind = if part.is_soak {
            EpisodeKind::Soak
        } else {
            EpisodeKind::Hold
        };
        let mut episode = self.bare(kind, part.from_s, part.to_s);
        episode.from = part.setpoint;
        episode.to = part.setpoint;
        let band = self.options.band;
        let (own, notes) = hold::measure(self.trace, part, band, &mut episode.numbers);
        episode.own.hold = own;
        let begun =
            mark.map(|mark| Note::new("mark", "", format!("begins with a mark: {}", mark.text)));
        episode.notes = begun.into_iter().chain(notes).collect();
        episode
    }

    /// The disturbances of a hold; or why none are sought.
    fn disturbances(&self, hold: Holding, line: &Stretch) -> Result<Vec<Disturbance>, Note> {
        let not = |code, text: String| Err(Note::new(code, "", text));
        if let Some(switching) = self.lasting_switching(hold) {
            return not(
                "two-level-cycling",
                format!(
                    "the output switches between {} % and {} %: on/off control, or a column of the switched state; no disturbances are sought",
                    amount(switching.0),
                    amount(switching.1)
                ),
            );
        }
        if self.options.told.is_by_hand(hold.from_s) {
            let text = "the controller does not control here: no disturbances are sought";
            return not("manual", text.to_owned());
        }
        let Some(target) = hold.setpoint else {
            let text = "no setpoint is known here: no disturbances are sought";
            return not("no-setpoint", text.to_owned());
        };
        let Some(band) = self.options.band else {
            let text = "no band is known, so no disturbances are sought: give one with --band, or in the setup";
            return not("no-band", text.to_owned());
        };
        let noise_sd = noise_sd(&Stretch::samples(self.trace, hold.from_s, hold.to_s).y);
        if band_in_noise(Some(band), noise_sd) {
            let text = format!(
                "the band of {} is narrower than four times the noise (sd {}): no disturbances are sought",
                amount(band),
                amount(noise_sd)
            );
            return not("band-in-noise", text);
        }
        // The sample at its end is the first of what comes next, unless that is the record's last.
        let next_begins = self
            .trace
            .time_s
            .last()
            .is_none_or(|last| hold.to_s < *last);
        let search = Search {
            line,
            target,
            band,
            sample_s: self.period_s,
            settles_for_s: (!hold.begins_settled).then_some(HOLD_S),
            noise_sd,
            counting: line.y.len() - usize::from(next_begins),
            hysteresis: (SWING_OVER_NOISE * noise_sd).max(resolution(&line.y)),
        };
        Ok(search.disturbances())
    }

    /// The two levels between which the output switches in it, if it does so all the time.
    fn lasting_switching(&self, hold: Holding) -> Option<(f64, f64)> {
        let after = self
            .switchings
            .partition_point(|switching| switching.ends_s <= hold.from_s);
        self.switchings[after..]
            .iter()
            .take_while(|switching| switching.begins_s < hold.to_s)
            .find(|switching| {
                let in_tune =
                    |tune: &super::tune::Tune| switching.overlaps(tune.begins_s, tune.ends_s);
                switching.is_lasting() && !self.tunes.iter().any(in_tune)
            })
            .map(|switching| (switching.low, switching.high))
    }

    fn disturbance(&self, hold: Holding, found: Disturbance) -> Episode {
        let (start_s, end_s) = (hold.from_s + found.begins_s, hold.from_s + found.ends_s);
        let mut episode = self.bare(EpisodeKind::Disturbance, start_s, end_s);
        episode.from = hold.setpoint;
        episode.to = hold.setpoint;
        episode.numbers.overshoot = Some(found.overshoot);
        episode.numbers.iae = Some(found.iae);
        episode.own.disturbance = DisturbanceNumbers {
            depth: Some(found.depth),
            return_s: found.returned.then_some(end_s - start_s),
        };
        if !found.returned {
            let text = "it had not come back into the band to stay when the hold ended";
            episode
                .notes
                .push(Note::new("not-returned", "return_s", text));
        }
        episode
    }
}
