//! One loop and where its polling stands.

use std::collections::VecDeque;
use std::time::Duration;

use tokio::time::Instant;

use super::Failure;
use super::exchange::QUIET_AFTER_FAILURE;
use super::givers::{Givers, READINGS, are_apart, givers_last, withdraw};
use super::plan::{Block, Cost, Lengths, Rules, Taken, plan};
use super::poll::Polled;
use super::port::Pace;
use super::refusals::Refusals;
use super::schedule::Grid;
use super::tally::Tally;
use crate::clock::{Clock, Stamp};
use crate::map::{Image, Map, Place, Point, Refresh};
use crate::sample::{Reading, SettingsCause, Units, Why, with_news};
use crate::setup::LoopSetup;

/// How often the slow points are looked at (they change by hand, minutes apart at least).
const LOOK_EVERY: Duration = Duration::from_mins(1);
/// How soon they are looked at again when they were wanted and did not come.
const LOOK_AGAIN: Duration = Duration::from_secs(5);
/// A unit that gave so many polls no answer is asked less often.
const SILENT_AFTER: u32 = 3;
/// But at least this often, so that it is back at once.
const ASK_AT_LEAST_EVERY: Duration = Duration::from_secs(30);
/// A unit that is asked less often is given at least this long; common practice, no source.
const GLANCE: Duration = Duration::from_millis(100);
/// After so many glances it is waited for like any other, in case it has become slow.
const GLANCES: u32 = 3;
/// What a unit is thought to take before it has been measured; common practice, no source.
pub(super) const USUAL_TURNAROUND: Duration = Duration::from_millis(10);
/// Answers after which the measured turnaround is good enough to plan with.
const MEASURED_AFTER: u64 = 20;

/// One loop and where its polling stands.
pub(super) struct Polling {
    pub(super) setup: LoopSetup,
    pub(super) grid: Grid,
    pub(super) trend: Vec<Block>,
    pub(super) last_stamp: Stamp,
    pub(super) tally: Tally,
    /// The look at the slow points that is under way.
    pub(super) look: Option<Look>,
    pub(super) wanted: Option<SettingsCause>,
    pub(super) look_at: Instant,
    settings: Vec<Block>,
    last_settings: Option<Vec<Reading>>,
    /// As last read, with whichever blocks.
    pub(super) givers: Givers,
    /// Of the readings of a sample, and of settings.
    pub(super) trend_units: Units,
    pub(super) settings_units: Units,
    refusals: Refusals,
    is_measured: bool,
    silent_polls: u32,
    /// The unit is silent, and asked again when the poll is due that is due then.
    quiet_until: Option<Duration>,
}

/// A look at the slow points, block by block as the line has time.
pub(super) struct Look {
    pub(super) left: VecDeque<Block>,
    pub(super) polled: Polled,
    pub(super) began: Instant,
    /// As they were when it began.
    givers: Givers,
    /// How often it was begun.
    tries: u32,
}

impl Polling {
    pub(super) fn new(setup: &LoopSetup, origin: Stamp) -> Self {
        Self {
            grid: Grid::beginning_with(setup.every, setup.first_poll_from(origin.elapsed)),
            trend: Vec::new(),
            settings: Vec::new(),
            last_stamp: origin,
            tally: Tally::new(),
            look: None,
            last_settings: None,
            givers: Givers::default(),
            trend_units: setup.map.units(Refresh::Trend, &Image::default()),
            settings_units: setup.map.units(Refresh::Settings, &Image::default()),
            wanted: Some(SettingsCause::Start),
            look_at: Instant::now(),
            refusals: Refusals::default(),
            is_measured: false,
            silent_polls: 0,
            quiet_until: None,
            setup: setup.clone(),
        }
    }

    /// Plans the blocks anew. `taken` and `lengths` are those of the unit's other blocks, and get
    /// those of this plan; once all are counted, [`mark`](Self::mark) makes the plan complete.
    pub(super) fn plan(&mut self, pace: Pace, taken: &mut Taken, lengths: &mut Lengths) {
        let map = &self.setup.map;
        let measured = self.tally.turnaround().filter(|_| self.is_measured);
        // A unit that keeps the standard answers after a silence at the earliest; not all do.
        let turnaround = measured.unwrap_or(USUAL_TURNAROUND.max(pace.silence));
        let cost = Cost::new(pace, &map.access, turnaround);
        let named: Vec<Place> = map.readable_places().collect();
        let rules = Rules {
            access: &map.access,
            cost,
            named: &named,
            refusals: &self.refusals,
        };
        let mut planned = |refresh| {
            let places = plan(map.places_for(refresh), rules, taken);
            lengths.count(&places);
            let unmarked = |place| Block {
                place,
                is_unique: false,
            };
            let mut blocks: Vec<Block> = places.into_iter().map(unmarked).collect();
            givers_last(map, &mut blocks);
            blocks
        };
        self.trend = planned(Refresh::Trend);
        self.settings = planned(Refresh::Settings);
        self.look = None;
    }

    /// Marks the blocks whose length no other block of the unit has.
    pub(super) fn mark(&mut self, lengths: &Lengths) {
        for block in self.trend.iter_mut().chain(&mut self.settings) {
            *block = lengths.block(block.place);
        }
    }

    /// Every block of the plan.
    pub(super) fn all_blocks(&self) -> Vec<Block> {
        let mut blocks = [self.trend.as_slice(), &self.settings].concat();
        givers_last(&self.setup.map, &mut blocks);
        blocks
    }

    /// Takes what a reading tells of units; what it does not tell stays.
    pub(super) fn take_units(&mut self, image: &Image) {
        let map = &self.setup.map;
        if !map.has_switchable_units() {
            return;
        }
        self.trend_units = with_news(&self.trend_units, &map.units(Refresh::Trend, image));
        let news = map.units(Refresh::Settings, image);
        self.settings_units = with_news(&self.settings_units, &news);
    }

    /// Takes note of how a poll went. Whether the plan should be made anew: the unit refused a block
    /// that can be asked for otherwise, or its turnaround is known now.
    pub(super) fn note(&mut self, polled: &Polled) -> bool {
        let is_silent = polled.answered.is_empty()
            && polled
                .failed
                .iter()
                .any(|(_, failure)| failure.why() == Why::NoAnswer);
        self.silent_polls = if is_silent {
            self.silent_polls.saturating_add(1)
        } else {
            0
        };
        self.quiet_until = self.pause().map(|pause| self.grid.due() + pause);
        let has_learned = self.note_refusals(&polled.failed);
        let is_measured = self.tally.answered() >= MEASURED_AFTER;
        let newly_measured = is_measured && !std::mem::replace(&mut self.is_measured, is_measured);
        has_learned || newly_measured && self.setup.map.access.bridge_gaps
    }

    /// Learns from exception 02 (illegal data address) how else to ask for the points of a block.
    /// Whether the plan should be made anew.
    pub(super) fn note_refusals(&mut self, failed: &[(Place, Failure)]) -> bool {
        let refused = failed
            .iter()
            .filter(|(_, failure)| *failure == Failure::Refused(2));
        refused.fold(false, |learned, (block, _)| {
            let is_trend = self.trend.iter().any(|it| it.place == *block);
            let refresh = if is_trend {
                Refresh::Trend
            } else {
                Refresh::Settings
            };
            let places = self.setup.map.places_for(refresh);
            self.refusals.note(*block, &places) || learned
        })
    }

    /// How long a silent unit is left alone once the next poll is due: the double each time. Counted in
    /// whole polls, so that the others, who are due then too, can go before it and leave it their rest.
    fn pause(&self) -> Option<Duration> {
        let doublings = self.silent_polls.checked_sub(SILENT_AFTER)?;
        let every = self.setup.every;
        let most = ASK_AT_LEAST_EVERY.as_nanos() / every.as_nanos();
        let polls = 2_u32.saturating_pow(doublings + 1).min(most as u32);
        Some(every * polls.saturating_sub(1))
    }

    /// Whether the last poll brought no answer at all.
    pub(super) fn was_silent(&self) -> bool {
        self.silent_polls > 0
    }

    /// Whether the unit has given no answer for a while.
    pub(super) fn is_silent(&self) -> bool {
        self.quiet_until.is_some()
    }

    /// Whether the others of the line go first, now: a silent unit gets what time they leave, unless
    /// they leave it none for long.
    pub(super) fn yields(&self, clock: &Clock) -> bool {
        let is_patient = |quiet_until| clock.now().elapsed < quiet_until + ASK_AT_LEAST_EVERY;
        self.quiet_until.is_some_and(is_patient)
    }

    /// How long to wait for the unit's answer, `usual`ly and when the line is wanted by others at
    /// `wanted_at`: one that has been silent holds nobody up, except now and then.
    pub(super) fn wait(&self, usual: Duration, pace: Pace, wanted_at: Option<Instant>) -> Duration {
        let asked_again = self.silent_polls.saturating_sub(SILENT_AFTER);
        let is_glance = self.is_silent() && asked_again % (GLANCES + 1) < GLANCES;
        let (Some(block), Some(wanted_at), true) = (self.trend.first(), wanted_at, is_glance)
        else {
            return usual;
        };
        let cost = Cost::new(pace, &self.setup.map.access, QUIET_AFTER_FAILURE);
        let beside_waiting = cost.of_block(block.place);
        let room = wanted_at.saturating_duration_since(Instant::now() + beside_waiting);
        usual.min(room.max(GLANCE))
    }

    /// When the unit may be asked next, if not at once: `suspect_until` is the exchange's word.
    pub(super) fn not_before(
        &self,
        clock: &Clock,
        suspect_until: Option<Instant>,
    ) -> Option<Instant> {
        let quiet_until = self.quiet_until.map(|until| clock.instant(until));
        quiet_until.max(suspect_until)
    }

    /// Begins a look at the slow points, if it is time for one.
    pub(super) fn begin_look(&mut self) {
        let is_due =
            Instant::now() >= self.look_at && !self.settings.is_empty() && !self.is_silent();
        if self.look.is_none() && is_due {
            self.look = Some(self.new_look(1));
        }
    }

    fn new_look(&self, tries: u32) -> Look {
        Look {
            left: self.settings.iter().copied().collect(),
            polled: Polled::default(),
            began: Instant::now(),
            givers: self.givers.clone(),
            tries,
        }
    }

    /// Begins a finished look again if a scale has changed since it began.
    pub(super) fn looks_again(&mut self, look: &mut Look) -> bool {
        let map = self.setup.map.clone();
        let is_new = look.givers.take(&map, &look.polled.image);
        if self.givers.is_empty() {
            self.givers = look.givers.clone();
        }
        if !is_new || !are_apart(&map, &self.settings) {
            return false;
        }
        if look.tries == READINGS {
            withdraw(&map, &mut look.polled.image);
            return false;
        }
        self.look = Some(self.new_look(look.tries + 1));
        true
    }

    /// The readings of a finished look, if they should be told, and why.
    pub(super) fn finish_look(&mut self, look: &Look) -> Option<(SettingsCause, Vec<Reading>)> {
        let map = self.setup.map.clone();
        let readings: Vec<Reading> = map
            .settings_points()
            .map(|point| map.read(point, &look.polled.image))
            .collect();
        let cause = self.worth_telling(&readings);
        let pause = if self.wanted.is_some() {
            LOOK_AGAIN
        } else {
            LOOK_EVERY
        };
        self.look_at = Instant::now() + pause;
        cause.map(|cause| (cause, readings))
    }

    /// Why these readings should be told, if they should; remembers the good ones.
    pub(super) fn worth_telling(&mut self, readings: &[Reading]) -> Option<SettingsCause> {
        let came = readings.iter().any(|reading| reading.number().is_some());
        let last = self.last_settings.as_deref();
        let differs = last.is_some_and(|last| moved(&self.setup.map, last, readings));
        if came {
            // A point that did not come this time keeps its last value.
            let before = self
                .last_settings
                .take()
                .unwrap_or_else(|| readings.to_vec());
            let keep = |(old, new): (Reading, &Reading)| {
                if new.number().is_some() {
                    new.clone()
                } else {
                    old
                }
            };
            self.last_settings = Some(before.into_iter().zip(readings).map(keep).collect());
        }
        match self.wanted {
            // What was asked for stays wanted until it has come.
            Some(_) if !came => None,
            Some(cause) => {
                self.wanted = None;
                Some(cause)
            }
            None => differs.then_some(SettingsCause::Changed),
        }
    }
}

/// Whether any setting that came both times differs.
fn moved(map: &Map, last: &[Reading], now: &[Reading]) -> bool {
    let differs = |(point, (last, now)): (&Point, (&Reading, &Reading))| {
        let both = last.number().zip(now.number());
        !point.role.follows_the_loop() && both.is_some_and(|(last, now)| point.moved(last, now))
    };
    map.settings_points().zip(last.iter().zip(now)).any(differs)
}
