//! What the screen knows of one loop, kept up to date sample by sample.

use crate::analysis::Episode;
use crate::map::{Meaning, Tunes};
use crate::notice::DangerWatch;
use crate::number::Number;
use crate::sample::{Happening, Health, Reading, Sample, State, Why};
use crate::trend::{History, Moment};
use crate::unit::Degrees;

use super::danger::Dangers;
use super::episode;
use super::rate::Rate;
use super::session::LoopFacts;
use super::swings::Swings;

/// Changes of the setpoint closer together than this belong together: a person keying digits, or a
/// ramp.
const KEYING_S: f64 = 30.0;

/// Settings that are read so soon after each other belong to one look.
const SAME_LOOK_S: f64 = 5.0;

/// What an autotune did is read within this, or not at all.
const VERDICT_S: f64 = 60.0;

/// So many polls may be lost before "in band since" begins anew (common practice, no source).
const FEW_POLLS: f64 = 3.0;

/// One loop as the screen knows it.
pub(super) struct Watched {
    pub(super) facts: LoopFacts,
    pub(super) history: History,
    /// The latest poll, good or not.
    pub(super) latest: Option<Sample>,
    /// The latest process value and when it came, in seconds.
    pub(super) value: Option<(f64, Number)>,
    /// When the present kind of poll result began.
    pub(super) state_since_s: f64,
    /// Since when the process value is in the band.
    pub(super) in_band_since_s: Option<f64>,
    /// Since when it is not, once it has been.
    pub(super) left_band_s: Option<f64>,
    /// The setpoint and since when it stands there; `None` inside where it was there at first sight.
    pub(super) setpoint: Option<(f64, Option<f64>)>,
    /// When the setpoint began to move the last time it moved.
    pub(super) moved_s: Option<f64>,
    rate: Rate,
    /// Degrees a minute as of a moment ago, where there are values enough to tell.
    pub(super) rate_per_min: Option<f64>,
    /// The swings of the latest autotune.
    pub(super) swings: Swings,
    /// The present episode and its numbers, as of a moment ago.
    pub(super) episode: Option<Episode>,
    episode_due_s: Option<f64>,
    /// What may hurt somebody.
    pub(super) dangers: Dangers,
    /// Whether one of them has not rung the bell yet.
    pub(super) has_new_danger: bool,
    /// Polls so far.
    pub(super) polls: u64,
    /// Polls that brought nothing, by reason.
    pub(super) lost: Vec<(Why, u64)>,
    /// How well the unit answers, as the line told last.
    pub(super) health: Option<Health>,
}

impl Watched {
    pub(super) fn new(facts: LoopFacts) -> Self {
        let dangers = Dangers::new(DangerWatch::new(facts.roles.clone(), facts.every));
        Self {
            history: History::new(facts.every.as_secs_f64()),
            facts,
            latest: None,
            value: None,
            state_since_s: 0.0,
            in_band_since_s: None,
            left_band_s: None,
            setpoint: None,
            moved_s: None,
            rate: Rate::default(),
            rate_per_min: None,
            swings: Swings::default(),
            episode: None,
            episode_due_s: None,
            dangers,
            has_new_danger: false,
            polls: 0,
            lost: Vec::new(),
            health: None,
        }
    }

    /// Takes a sample of this loop in. The screen stays in one unit of temperature: in that of the
    /// first value, if nothing else was asked for.
    pub(super) fn take(&mut self, sample: &Sample) {
        let unit = sample.units.get(self.facts.roles.pv).cloned().flatten();
        if let (true, Some(unit)) = (self.facts.unit.is_empty(), unit) {
            self.facts.unit = unit.to_string();
        }
        let shown = Degrees::from_word(&self.facts.unit);
        let shown = shown.and_then(|to| sample.in_degrees(to, &self.facts.quantities));
        self.take_shown(shown.as_ref().unwrap_or(sample));
    }

    fn take_shown(&mut self, sample: &Sample) {
        let at_s = sample.stamp.elapsed.as_secs_f64();
        self.history.take(&self.facts.roles, sample);
        self.polls += 1;
        if let State::Absent(why) = sample.state {
            self.lose(why);
        }
        let was = self.latest.as_ref().map(|latest| kind(latest.state));
        if was != Some(kind(sample.state)) {
            self.state_since_s = at_s;
        }
        self.follow_setpoint(at_s, self.facts.roles.setpoint(sample));
        if let Some(pv) = self.facts.roles.pv(sample) {
            if self.was_away(at_s) {
                self.rate.clear();
            }
            self.rate.take(at_s, pv);
            self.follow_band(at_s, pv);
            self.follow_tune(at_s, pv);
            let number = sample.readings.get(self.facts.roles.pv);
            self.value = number.and_then(Reading::number).map(|n| (at_s, n));
        }
        self.latest = Some(sample.clone());
        self.has_new_danger |= self.dangers.take(sample);
    }

    fn lose(&mut self, why: Why) {
        // Two refusals with different codes are counted together.
        match self
            .lost
            .iter_mut()
            .find(|(known, _)| known.word() == why.word())
        {
            Some((_, count)) => *count += 1,
            None => self.lost.push((why, 1)),
        }
    }

    /// Measures the present episode again where that is worth it.
    pub(super) fn refresh_episode(&mut self) {
        let Some(last) = self.history.last() else {
            return;
        };
        let at_s = last.at_s;
        if self.episode_due_s.is_none_or(|due_s| at_s >= due_s) {
            self.episode = episode::measure(self, at_s).or(self.episode.take());
            self.episode_due_s = Some(episode::next_due_s(self, at_s).unwrap_or(f64::INFINITY));
        }
    }

    /// Decimals of the process value: the map's, else those of the latest value.
    pub(super) fn decimals(&self) -> u32 {
        self.facts.decimals.unwrap_or(match self.value {
            Some((_, Number::Decimal(decimal))) => decimal.scale(),
            _ => 1,
        })
    }

    /// The present process value.
    pub(super) fn pv(&self) -> Option<f64> {
        self.facts.roles.pv(self.latest.as_ref()?)
    }

    /// The present setpoint.
    pub(super) fn target(&self) -> Option<f64> {
        self.facts.roles.setpoint(self.latest.as_ref()?)
    }

    /// The present output.
    pub(super) fn output(&self) -> Option<f64> {
        self.facts.roles.output(self.latest.as_ref()?)
    }

    /// What the controller says it is doing.
    pub(super) fn mode(&self) -> Option<Meaning> {
        self.facts.roles.mode(self.latest.as_ref()?)
    }

    /// Since when an autotune is under way.
    pub(super) fn tuning_since_s(&self) -> Option<f64> {
        match self.history.tunes().last() {
            Some((began_s, None)) => Some(*began_s),
            _ => None,
        }
    }

    /// How the latest autotune ended, until another one begins or settings are changed.
    pub(super) fn outcome(&self) -> Option<&Moment> {
        let mut moments = self.history.moments().iter();
        let ended = moments.rfind(|moment| is_end_of_tune(moment.what))?;
        let began_s = self.history.tunes().last().map(|(began_s, _)| *began_s);
        let is_latest = began_s.is_none_or(|began_s| began_s <= ended.at_s);
        // What the tune itself changed is read at its end.
        let has_changed = self.history.moments().iter().any(|moment| {
            moment.what == Happening::SettingsChanged && moment.at_s > ended.at_s + SAME_LOOK_S
        });
        (is_latest && !has_changed).then_some(ended)
    }

    /// What disturbs the autotune that is under way.
    pub(super) fn disturbed(&self) -> Option<String> {
        let began_s = self.tuning_since_s()?;
        // A controller that tunes elsewhere may move its working setpoint there.
        let has_moved = self.moved_s.is_some_and(|moved_s| moved_s > began_s);
        if has_moved && self.tunes_at_setpoint() {
            return Some("the setpoint moved during the tune: its result may be wrong".to_owned());
        }
        let uneven = self.swings.unevenness(self.decimals())?;
        Some(format!("{uneven}: is it disturbed?"))
    }

    fn tunes_at_setpoint(&self) -> bool {
        let habit = self.facts.habit;
        habit.is_none_or(|habit| habit.tunes_at == Tunes::Setpoint)
    }

    /// Whether an autotune ended a moment ago and what it did is not known yet.
    pub(super) fn awaits_verdict(&self, now_s: f64) -> bool {
        let ended_s = self
            .history
            .tunes()
            .last()
            .and_then(|(_, ended_s)| *ended_s);
        ended_s.is_some_and(|ended_s| {
            let mut since = self
                .history
                .moments()
                .iter()
                .rev()
                .take_while(|it| it.at_s >= ended_s);
            now_s - ended_s < VERDICT_S && !since.any(|it| is_end_of_tune(it.what))
        })
    }

    /// Works the rate out again; only for a picture, not for each of many samples.
    pub(super) fn refresh_rate(&mut self) {
        let digit = 10_f64.powi(-self.decimals().cast_signed());
        self.rate_per_min = self.rate.per_min(digit);
    }

    fn follow_setpoint(&mut self, at_s: f64, setpoint: Option<f64>) {
        let Some(setpoint) = setpoint else { return };
        match self.setpoint {
            None => self.setpoint = Some((setpoint, None)),
            Some((known, _)) if (known - setpoint).abs() > f64::EPSILON => {
                let last_s = self.setpoint.and_then(|(_, since_s)| since_s);
                if last_s.is_none_or(|last_s| at_s - last_s > KEYING_S) {
                    self.moved_s = Some(at_s);
                }
                self.episode_due_s = Some(at_s);
                self.setpoint = Some((setpoint, Some(at_s)));
                self.in_band_since_s = None;
                self.left_band_s = None;
            }
            Some(_) => {}
        }
    }

    fn follow_tune(&mut self, at_s: f64, pv: f64) {
        let Some(began_s) = self.tuning_since_s() else {
            return;
        };
        // The swings of the last tune stay until another begins.
        if began_s >= at_s {
            self.swings = Swings::default();
        }
        let hysteresis = self.facts.band.unwrap_or(1.0) / 4.0;
        let setpoint = self.setpoint.map(|(setpoint, _)| setpoint);
        let target = setpoint.filter(|_| self.tunes_at_setpoint());
        self.swings.take(at_s, pv, target, hysteresis);
    }

    /// Whether more than a few polls before this one brought no process value.
    fn was_away(&self, at_s: f64) -> bool {
        let few_s = (FEW_POLLS + 1.5) * self.facts.every.as_secs_f64();
        self.value.is_some_and(|(last_s, _)| at_s - last_s > few_s)
    }

    fn follow_band(&mut self, at_s: f64, pv: f64) {
        let (Some(band), Some((target, _))) = (self.facts.band, self.setpoint) else {
            return;
        };
        // A binary difference of two decimals may be off by its last bit.
        let inside = (pv - target).abs() <= band * (1.0 + 1e-9);
        match (inside, self.in_band_since_s) {
            // Nobody knows where it was meanwhile.
            (true, Some(_)) if self.was_away(at_s) => self.in_band_since_s = Some(at_s),
            (true, None) => {
                self.in_band_since_s = Some(at_s);
                self.left_band_s = None;
            }
            (false, Some(_)) => {
                self.in_band_since_s = None;
                self.left_band_s = Some(at_s);
            }
            _ => {}
        }
    }
}

fn is_end_of_tune(what: Happening) -> bool {
    use Happening::{AutotuneTuned, AutotuneUnchanged, AutotuneUnknown};
    matches!(what, AutotuneTuned | AutotuneUnchanged | AutotuneUnknown)
}

/// Good and partial are one kind: there is a process value.
fn kind(state: State) -> State {
    match state {
        State::Partial => State::Good,
        other => other,
    }
}
