//! Whether what is awaited has come: entries in, a verdict out.

use std::collections::HashMap;
use std::sync::Arc;

use super::awaiting::Until;
use super::{Exit, Stop};
use crate::analysis::{Episode, EpisodeKind, Options, Trace, find_episodes};
use crate::map::{Map, Role};
use crate::name::Name;
use crate::sample::{Entry, Event, Happening, Sample};
use crate::setup::LoopSetup;

/// Without a setpoint step a loop has settled when so many samples in a row are in band, the least
/// that counts as staying after a step too.
const STAYS: usize = 10;

/// What was awaited came, or never will.
#[derive(Clone, Debug)]
pub(super) struct Verdict {
    pub(super) happened: bool,
    pub(super) of: Option<Name>,
    pub(super) text: String,
}

/// Judges entries as they come. A later word takes back an earlier one until it is asked for: a tune
/// that failed yesterday does not count once another has begun.
pub(super) struct Judge {
    until: Until,
    loops: HashMap<Name, Watched>,
}

/// One loop, and the verdict on it so far.
struct Watched {
    map: Arc<Map>,
    band: Option<f64>,
    verdict: Option<Verdict>,
    approach: Approach,
}

/// The samples around the last setpoint step.
#[derive(Default)]
struct Approach {
    time_s: Vec<f64>,
    pv: Vec<f64>,
    setpoint: Vec<f64>,
}

impl Verdict {
    pub(super) fn no(text: &str) -> Self {
        Self {
            happened: false,
            of: None,
            text: text.to_owned(),
        }
    }
}

impl Judge {
    /// # Errors
    /// A loop without a band, where one is needed.
    pub(super) fn new(
        until: Until,
        band: Option<f64>,
        loops: Vec<LoopSetup>,
    ) -> Result<Self, Stop> {
        let needs_band = matches!(until, Until::InBand | Until::Settled);
        let bandless = loops
            .iter()
            .find(|the_loop| band.or(the_loop.band).is_none());
        if let (true, Some(the_loop)) = (needs_band, bandless) {
            let name = &the_loop.name;
            let text =
                format!("loop '{name}' has no band\nhelp: give one with --band, or in the setup");
            return Err(Stop::new(Exit::WrongUse, text));
        }
        let watched = |the_loop: LoopSetup| {
            let band = band.or(the_loop.band);
            let approach = Approach::default();
            (
                the_loop.name,
                Watched {
                    map: the_loop.map,
                    band,
                    verdict: None,
                    approach,
                },
            )
        };
        Ok(Self {
            until,
            loops: loops.into_iter().map(watched).collect(),
        })
    }

    /// The verdict now: of several loops one that happened counts most.
    pub(super) fn verdict(&self) -> Option<Verdict> {
        let verdicts = self
            .loops
            .values()
            .filter_map(|watched| watched.verdict(self.until));
        verdicts
            .max_by_key(|verdict| (verdict.happened, verdict.of.clone()))
            .cloned()
    }

    pub(super) fn on_all(&mut self, entries: &[Entry]) {
        for entry in entries {
            self.on(entry);
        }
    }

    pub(super) fn on(&mut self, entry: &Entry) {
        match entry {
            Entry::Sample(sample) => {
                if let Some(watched) = self.loops.get_mut(&sample.of) {
                    watched.on_sample(self.until, sample);
                }
            }
            Entry::Event(event) => {
                let concerns = |name: &Name| event.of.as_ref().is_none_or(|of| of == name);
                for (name, watched) in self.loops.iter_mut().filter(|(name, _)| concerns(name)) {
                    watched.on_event(self.until, name, event);
                }
            }
            Entry::Settings(_) | Entry::Health(_) => {}
        }
    }
}

impl Watched {
    fn on_event(&mut self, until: Until, name: &Name, event: &Event) {
        use Happening::{AutotuneBegan, AutotuneTuned, AutotuneUnchanged, AutotuneUnknown};
        let happened = match (until, event.what) {
            (Until::Tuned, AutotuneTuned) | (Until::Fault, Happening::FaultBegan) => Some(true),
            (Until::Tuned, AutotuneUnchanged | AutotuneUnknown) => Some(false),
            (Until::Tuned, AutotuneBegan) | (Until::Fault, Happening::FaultEnded) => None,
            _ => return,
        };
        let verdict = |happened| Verdict {
            happened,
            of: Some(name.clone()),
            text: event.text.clone(),
        };
        self.verdict = happened.map(verdict);
    }

    fn on_sample(&mut self, until: Until, sample: &Sample) {
        if !matches!(until, Until::InBand | Until::Settled) {
            return;
        }
        let value = |role: Role| {
            let index = self
                .map
                .trend_points()
                .position(|point| point.role == role)?;
            sample.readings.get(index)?.value()
        };
        let values = value(Role::ProcessValue).zip(value(Role::Setpoint));
        let Some(((pv, setpoint), band)) = values.zip(self.band) else {
            return;
        };
        self.approach
            .push(sample.stamp.elapsed.as_secs_f64(), pv, setpoint);
        let words = if until == Until::InBand {
            "in band"
        } else {
            "settled"
        };
        let text = format!("{words}: {pv:.1}, setpoint {setpoint:.1}");
        let verdict = Verdict {
            happened: true,
            of: Some(sample.of.clone()),
            text,
        };
        self.verdict = ((pv - setpoint).abs() <= band).then_some(verdict);
    }

    /// Whether a loop has settled is worked out only when it is asked for, over its whole approach.
    fn verdict(&self, until: Until) -> Option<&Verdict> {
        let is_so = match (until, self.band) {
            (Until::Settled, Some(band)) => {
                self.verdict.is_some() && self.approach.has_settled(band)
            }
            _ => true,
        };
        self.verdict.as_ref().filter(|_| is_so)
    }
}

impl Approach {
    fn push(&mut self, time_s: f64, pv: f64, setpoint: f64) {
        let last = self.setpoint.last().copied().unwrap_or(setpoint);
        if (last - setpoint).abs() > 0.0 {
            // What is before the minute that a step's start is taken from is not needed any more.
            let old = self.time_s.partition_point(|time| *time < time_s - 60.0);
            self.time_s.drain(..old);
            self.pv.drain(..old);
            self.setpoint.drain(..old);
        }
        self.time_s.push(time_s);
        self.pv.push(pv);
        self.setpoint.push(setpoint);
    }

    /// By the same rule as `measure`: in the band, and stayed for the dwell.
    fn has_settled(&self, band: f64) -> bool {
        let trace = Trace {
            time_s: &self.time_s,
            pv: &self.pv,
            setpoint: Some(&self.setpoint),
            output: None,
            autotune: None,
        };
        let options = Options {
            band: Some(band),
            ..Options::default()
        };
        let episodes = find_episodes(&trace, &options).unwrap_or_default();
        let moves_setpoint = |episode: &&Episode| {
            matches!(episode.kind, EpisodeKind::SetpointStep | EpisodeKind::Ramp)
        };
        if let Some(approach) = episodes.iter().rfind(moves_setpoint) {
            return approach.numbers.settling_s.is_some();
        }
        let last = self.pv.iter().zip(&self.setpoint).rev().take(STAYS);
        last.filter(|(pv, setpoint)| (*pv - *setpoint).abs() <= band)
            .count()
            == STAYS
    }
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn a_ramp_has_settled_only_after_its_end() {
        // Half a degree behind all the way: in band, but the setpoint still moves. That it is a ramp
        // shows after half a minute.
        let mut approach = Approach::default();
        let mut settled_at = None;
        for second in 0..400 {
            let setpoint = 490.0 + 0.1 * f64::from(second - 100).clamp(0.0, 200.0);
            approach.push(f64::from(second), setpoint - 0.5, setpoint);
            let settled = second > 135 && approach.has_settled(2.0);
            settled_at = settled_at.or(settled.then_some(second));
        }
        assert_eq!(settled_at, Some(310));
    }

    #[test]
    fn a_first_order_step_has_settled_once_it_stayed_in_the_band() {
        // 510 - 20 exp(-t/60) is within 2 degrees after 60 ln 10 = 138.2 s.
        let mut approach = Approach::default();
        let mut settled_at = None;
        for second in 0..400 {
            let since = f64::from(second - 100).max(0.0);
            let setpoint = if second < 100 { 490.0 } else { 510.0 };
            approach.push(
                f64::from(second),
                510.0 - 20.0 * (-since / 60.0).exp(),
                setpoint,
            );
            let in_band = second > 100 && approach.has_settled(2.0);
            settled_at = settled_at.or(in_band.then_some(since));
        }
        // The dwell is ten samples here.
        let at = settled_at.unwrap();
        assert!((147.0..=150.0).contains(&at), "{at}");
    }
}
