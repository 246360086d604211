//! What may hurt somebody, and what to do first.
//!
//! The limits below are common practice, no source: they are chosen so that a sound oven does not
//! reach them. None of this protects anything; it only says what a person at the panel would see.

use crate::sample::State;

use super::watched::Watched;

/// A sensor fault that lasts so long is no glitch.
const BLIND_S: f64 = 5.0;
/// Full output for so long must show.
const RESPONSE_S: f64 = 600.0;
const FULL_PCT: f32 = 95.0;
/// What "must show" means, in degrees.
const RESPONSE: f64 = 1.0;
/// So long after the output went to 0 the heat that is still on its way has arrived.
const COAST_S: f64 = 600.0;
/// What "still rises" means: so much within so long.
const RISE: f64 = 1.0;
const RISE_S: f64 = 300.0;

/// The kinds of danger that can be seen from the values.
#[derive(Clone, Copy, Debug, PartialEq, Eq)]
pub(super) enum Peril {
    /// The sensor has failed, the output is on.
    HeatsBlind,
    /// Full output, and the process value does not move.
    NoResponse,
    /// No output, and the process value goes on rising.
    RisesUnheated,
}

/// A danger that was seen.
#[derive(Clone, Debug, PartialEq, Eq)]
pub(super) struct Danger {
    pub(super) peril: Peril,
    pub(super) is_acknowledged: bool,
    is_over: bool,
}

/// The dangers of one loop; each stays until a person has acknowledged it.
#[derive(Clone, Debug, Default)]
pub(super) struct Dangers(Vec<Danger>);

impl Peril {
    const ALL: [Self; 3] = [Self::HeatsBlind, Self::NoResponse, Self::RisesUnheated];

    /// What is seen.
    pub(super) fn what(self) -> &'static str {
        match self {
            Self::HeatsBlind => "the sensor has failed while the output is on",
            Self::NoResponse => "full output for 10 min, and the temperature does not rise",
            Self::RisesUnheated => "no output for 10 min, and the temperature still rises",
        }
    }

    /// What to do first.
    pub(super) fn first(self) -> &'static str {
        match self {
            Self::HeatsBlind => "go to the oven and switch the heating off at its own switch",
            Self::NoResponse => "see that the sensor is in its place; then heater and contactor",
            Self::RisesUnheated => "switch the heating off at its isolator: a relay may be stuck",
        }
    }

    fn holds(self, watched: &Watched, now_s: f64) -> bool {
        match self {
            Self::HeatsBlind => {
                let is_faulty = watched.latest.as_ref().map(|l| l.state) == Some(State::Faulty);
                let heats = watched.output().is_some_and(|output| output > 0.0);
                is_faulty && heats && now_s - watched.state_since_s >= BLIND_S
            }
            Self::NoResponse => {
                // First what costs nothing to see.
                let is_full = watched.output().is_some_and(|o| o >= f64::from(FULL_PCT));
                is_full
                    && watched.off_by().is_some_and(|off| off < -RESPONSE)
                    && watched
                        .output_over(RESPONSE_S)
                        .is_some_and(|o| o.min >= FULL_PCT)
                    && watched
                        .rise_over(RESPONSE_S)
                        .is_some_and(|rise| rise < RESPONSE)
            }
            Self::RisesUnheated => {
                let is_off = watched.output().is_some_and(|output| output <= 0.0);
                is_off
                    && watched.output_over(COAST_S).is_some_and(|o| o.max <= 0.0)
                    && watched.rise_over(RISE_S).is_some_and(|rise| rise >= RISE)
            }
        }
    }
}

impl Dangers {
    /// Looks again; says whether there is a new one.
    pub(super) fn look(&mut self, watched: &Watched, now_s: f64) -> bool {
        let mut is_new = false;
        for peril in Peril::ALL {
            let holds = peril.holds(watched, now_s);
            match self.0.iter_mut().find(|danger| danger.peril == peril) {
                Some(danger) => danger.is_over = !holds,
                None if holds => {
                    is_new = true;
                    self.0.push(Danger {
                        peril,
                        is_acknowledged: false,
                        is_over: false,
                    });
                }
                None => {}
            }
        }
        self.forget();
        is_new
    }

    /// A person has seen them all.
    pub(super) fn acknowledge(&mut self) {
        for danger in &mut self.0 {
            danger.is_acknowledged = true;
        }
        self.forget();
    }

    /// Those that nobody has acknowledged.
    pub(super) fn open(&self) -> impl Iterator<Item = Peril> {
        let open = self.0.iter().filter(|danger| !danger.is_acknowledged);
        open.map(|danger| danger.peril)
    }

    fn forget(&mut self) {
        self.0
            .retain(|danger| !(danger.is_acknowledged && danger.is_over));
    }
}
