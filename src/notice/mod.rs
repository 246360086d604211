//! What a stream of samples means at once: an autotune began or ended, a loop settled or left its band,
//! a sensor broke, something may hurt somebody, a unit fell silent, its line needs somebody to look at
//! it. Stands between the lines and everybody who listens,
//! so that recorder, screen and commands all see the same events and give the same advice.

mod advice;
mod answers;
mod autotune;
mod band;
mod clocks;
mod danger;
mod known;
mod recent;
mod values;

pub use advice::{Advice, Exchanges, Pattern, advise};
pub use danger::{DangerWatch, Peril};
pub use recent::AdviceWatch;

use std::collections::{BTreeMap, HashMap};

use tokio::sync::{broadcast, mpsc};

use crate::clock::{Changes, Stamp};
use crate::line::Ask;
use crate::name::Name;
use crate::roles::Roles;
use crate::sample::{Entry, Event, Happening, Sample, Settings, SettingsCause};
use crate::setup::{LoopSetup, Setup};
use answers::AnswerWatch;
use autotune::AutotuneWatch;
use band::BandWatch;
use danger::DangerNews;
use values::ValueWatch;

/// What one entry made noticeable.
#[derive(Debug, Default, PartialEq)]
pub struct Noticed {
    /// To be sent on behind the entry.
    pub events: Vec<Event>,
    /// Whose slow points are to be read at once, and why.
    pub looks: Vec<(Name, SettingsCause)>,
}

/// Watches every loop of a setup. Pure: entries in, events out.
#[derive(Debug)]
pub struct Notice {
    loops: HashMap<Name, Watched>,
}

#[derive(Debug)]
struct Watched {
    answers: AnswerWatch,
    values: ValueWatch,
    autotune: AutotuneWatch,
    band: BandWatch,
    dangers: DangerNews,
}

/// Something noticed, before it is tied to a loop and a time.
type Finding = (Happening, String);

impl Notice {
    /// A watch that has seen nothing yet.
    pub fn new(setup: &Setup) -> Self {
        let watched = |the_loop: &LoopSetup| {
            let roles = Roles::of(&the_loop.map);
            let watched = Watched {
                band: BandWatch::new(roles.clone(), the_loop.band, the_loop.every),
                dangers: DangerNews::new(roles, the_loop.every),
                answers: AnswerWatch::default(),
                values: ValueWatch::new(the_loop.map.clone()),
                autotune: AutotuneWatch::new(the_loop.map.clone()),
            };
            (the_loop.name.clone(), watched)
        };
        Self {
            loops: setup.loops.iter().map(watched).collect(),
        }
    }

    /// Takes one entry and says what it means.
    pub fn on(&mut self, entry: &Entry) -> Noticed {
        match entry {
            Entry::Sample(sample) => self.on_sample(sample),
            Entry::Settings(settings) => self.on_settings(settings),
            Entry::Event(_) | Entry::Health(_) => Noticed::default(),
        }
    }

    fn on_sample(&mut self, sample: &Sample) -> Noticed {
        let Some(watched) = self.loops.get_mut(&sample.of) else {
            return Noticed::default();
        };
        let mut findings: Vec<Finding> = Vec::new();
        findings.extend(watched.answers.on(sample));
        findings.extend(watched.values.on_sample(sample));
        findings.extend(watched.band.on(sample));
        findings.extend(watched.dangers.on(sample));
        let mut looks = Vec::new();
        if let Some(step) = watched.autotune.on_sample(sample) {
            findings.extend(step.finding);
            looks.extend(step.ask.map(|cause| (sample.of.clone(), cause)));
        }
        Noticed {
            events: tied(findings, &sample.of, sample.stamp),
            looks,
        }
    }

    fn on_settings(&mut self, settings: &Settings) -> Noticed {
        let Some(watched) = self.loops.get_mut(&settings.of) else {
            return Noticed::default();
        };
        let moved = watched.values.on_settings(settings);
        let tune = watched.autotune.on_settings(settings);
        // A tune's own sentence tells what it found.
        let moved: Vec<String> = moved
            .into_iter()
            .filter(|(role, _)| tune.is_none() || !role.is_tuning())
            .map(|(_, sentence)| sentence)
            .collect();
        let changed = (!moved.is_empty()).then(|| (Happening::SettingsChanged, moved.join(", ")));
        let findings = changed.into_iter().chain(tune);
        Noticed {
            events: tied(findings, &settings.of, settings.stamp),
            looks: Vec::new(),
        }
    }
}

fn tied(findings: impl IntoIterator<Item = Finding>, of: &Name, stamp: Stamp) -> Vec<Event> {
    let event = |(what, text)| Event {
        of: Some(of.clone()),
        stamp,
        what,
        text,
    };
    findings.into_iter().map(event).collect()
}

/// Who listens to what a session's lines give.
#[derive(Debug)]
pub struct Listeners {
    /// The recorder, which must have everything: the lines wait for it.
    pub recorder: Option<mpsc::Sender<Entry>>,
    /// Everybody else; whoever is slow loses entries and is told how many.
    pub live: broadcast::Sender<Entry>,
}

/// Passes entries on until every sender is gone, with what they mean behind them; and `changes` of the
/// machine's clocks, before what came after them.
///
/// Ends early when the recorder ends, which it does on an error that no waiting heals: there is no use
/// in polling what cannot be written.
pub async fn run(
    mut notice: Notice,
    mut entries: mpsc::Receiver<Entry>,
    mut changes: Changes,
    asks: BTreeMap<Name, mpsc::Sender<Ask>>,
    listeners: Listeners,
) {
    loop {
        let entry = tokio::select! {
            biased;
            entry = entries.recv() => match entry {
                None => return,
                entry => entry,
            },
            () = changes.due() => None,
        };
        let noticed = entry.as_ref().map(|it| notice.on(it));
        let Noticed { events, looks } = noticed.unwrap_or_default();
        let clocks = changes.take().into_iter().map(clocks::event);
        let clocks = clocks.map(Entry::Event).chain(entry);
        for entry in clocks.chain(events.into_iter().map(Entry::Event)) {
            if !listeners.tell(entry).await {
                return;
            }
        }
        for (of, cause) in looks {
            if let Some(line) = asks.get(&of) {
                // A line that takes nothing more is ending.
                let _ = line.try_send(Ask::Settings(of, cause));
            }
        }
    }
}

impl Listeners {
    /// Whether the recorder, if there is one, still takes it.
    async fn tell(&self, entry: Entry) -> bool {
        // Nobody looking is no failure.
        let _ = self.live.send(entry.clone());
        match &self.recorder {
            Some(recorder) => recorder.send(entry).await.is_ok(),
            None => true,
        }
    }
}

#[cfg(test)]
mod quality_tests;
