//! What the screen remembers, and what news and time do to it.

use chrono::TimeDelta;
use ratatui::Frame;
use ratatui::layout::Size;

use crate::clock::Stamp;
use crate::notice::AdviceWatch;
use crate::sample::{Entry, Event};

use super::cursor::Cursor;
use super::doing::doing;
use super::places::Places;
use super::remarks::{Notice, Refusal, Remarks};
use super::session::{LoopFacts, Recording, ScreenFacts, Story, Written};
use super::view::{LoopView, Open, ScreenView, TimeWindow};
use super::watched::Watched;
use super::words::time_of_day;
use super::{draw, episode, title};

/// The spans of time the trend can show, in seconds.
pub(super) const SPANS: [f64; 22] = [
    60.0,
    120.0,
    180.0,
    300.0,
    600.0,
    900.0,
    1200.0,
    1800.0,
    2700.0,
    3600.0,
    5400.0,
    7200.0,
    10_800.0,
    14_400.0,
    21_600.0,
    28_800.0,
    43_200.0,
    86_400.0,
    172_800.0,
    345_600.0,
    604_800.0,
    2_592_000.0,
];
/// Until somebody zooms, the trend grows with the history between these two.
const FIRST_SPAN: usize = 2;
const LARGEST_OWN_SPAN: usize = 11;
/// The advice at the start stays so long, or until a key is pressed.
const ADVICE_S: f64 = 30.0;

/// The screen's state. Keys, news and time change it; [`App::draw`] shows it.
pub struct App {
    pub(super) screen: ScreenFacts,
    pub(super) watched: Vec<Watched>,
    pub(super) events: Vec<Event>,
    advice: AdviceWatch,
    pub(super) now: Stamp,
    pub(super) story: Option<Story>,
    written: Written,
    pub(super) alone: Option<usize>,
    /// The loop that somebody chose.
    pub(super) chosen: Option<usize>,
    /// Index into [`SPANS`], once somebody chose.
    pub(super) span: Option<usize>,
    /// Doublings of the value scale.
    pub(super) value_zoom: i32,
    pub(super) until_s: Option<f64>,
    pub(super) cursor: Option<Cursor>,
    pub(super) open: Open,
    pub(super) has_quit: bool,
    pub(super) is_suspended: bool,
    pub(super) size: Size,
    pub(super) remarks: Remarks,
    /// Of the picture that was drawn last.
    pub(super) places: Places,
}

impl App {
    /// A screen that has seen nothing yet. One loop is shown alone, several side by side.
    pub fn new(mut screen: ScreenFacts, now: Stamp, size: Size) -> Self {
        let mut facts: Vec<LoopFacts> = std::mem::take(&mut screen.loops);
        for one in facts.iter_mut().filter(|_| screen.listens) {
            one.line += ", listening only";
        }
        let lines = facts.iter().map(|one| (one.line.clone(), &one.name));
        Self {
            advice: AdviceWatch::new(lines, screen.listens),
            alone: (facts.len() == 1).then_some(0),
            watched: facts.into_iter().map(Watched::new).collect(),
            screen,
            events: Vec::new(),
            now,
            story: None,
            written: Written::Goes,
            chosen: None,
            span: None,
            value_zoom: 0,
            until_s: None,
            cursor: None,
            open: Open::Nothing,
            has_quit: false,
            is_suspended: false,
            size,
            remarks: Remarks {
                has_advice: true,
                ..Remarks::default()
            },
            places: Places::default(),
        }
    }

    /// Takes in what happened.
    pub fn on_entry(&mut self, entry: &Entry) {
        match entry {
            Entry::Sample(sample) => {
                self.on_tick(sample.stamp);
                let of = |one: &&mut Watched| one.facts.name == sample.of;
                if let Some(watched) = self.watched.iter_mut().find(of) {
                    watched.take(sample);
                }
            }
            Entry::Event(event) => {
                self.on_tick(event.stamp);
                for watched in &mut self.watched {
                    if event.of.as_ref().is_none_or(|of| *of == watched.facts.name) {
                        watched.history.note(event);
                    }
                }
                self.events.push(event.clone());
            }
            Entry::Health(health) => {
                self.on_tick(health.stamp);
                self.advice.on(health);
                let of = |one: &&mut Watched| one.facts.name == health.of;
                if let Some(watched) = self.watched.iter_mut().find(of) {
                    watched.health = Some(health.clone());
                }
            }
            Entry::Settings(settings) => self.on_tick(settings.stamp),
        }
    }

    /// Lets time pass; it never runs back.
    pub fn on_tick(&mut self, now: Stamp) {
        if now.elapsed > self.now.elapsed {
            self.now = now;
            self.remarks.has_advice &= now.elapsed.as_secs_f64() < ADVICE_S;
        }
    }

    /// Whether the recording that is shown is written. Where it is not, time stands still: what is
    /// shown is how things were at its end.
    pub fn on_written(&mut self, written: Written) {
        self.written = written;
        if let Written::Stopped(at) | Written::Closed(at) = written {
            self.now = at;
        }
    }

    /// Whether time goes on.
    pub(super) fn goes_on(&self) -> bool {
        self.written == Written::Goes
    }

    /// The terminal has another size now.
    pub fn on_resize(&mut self, size: Size) {
        self.size = size;
    }

    /// The story went on.
    pub fn on_story(&mut self, story: Story) {
        self.story = Some(story);
        self.remarks.has_advice = false;
    }

    /// News were missed because the screen was too slow for them.
    pub fn on_missed(&mut self, count: u64) {
        self.remarks.missed += count;
    }

    /// What the person asked for could not be passed on.
    pub(super) fn on_unheard(&mut self) {
        self.remarks.refusal = Some(Refusal::Unheard);
    }

    /// No more news will come.
    pub fn on_over(&mut self) {
        self.remarks.is_over = true;
    }

    /// Whether the person has quit.
    pub fn has_quit(&self) -> bool {
        self.has_quit
    }

    /// Whether the person asked to suspend the program just now.
    pub fn takes_suspend(&mut self) -> bool {
        std::mem::take(&mut self.is_suspended)
    }

    /// What the window is called: what is seen from far away, or in a list of windows.
    pub fn title(&self) -> String {
        title::of(&self.view())
    }

    /// Whether a keystroke belongs to a text being typed.
    pub fn is_typing(&self) -> bool {
        matches!(self.open, Open::Mark(_))
    }

    /// Whether the bell is to be rung: something that may hurt somebody was seen just now.
    pub fn rings(&mut self) -> bool {
        let mut rings = false;
        for one in &mut self.watched {
            rings |= std::mem::take(&mut one.has_new_danger);
        }
        rings
    }

    /// Draws the whole screen.
    pub fn draw(&mut self, frame: &mut Frame) {
        let area = frame.area();
        self.watched.iter_mut().for_each(Watched::refresh_rate);
        if let Some(one) = self.alone.and_then(|i| self.watched.get_mut(i)) {
            one.refresh_episode();
        }
        self.places = draw::screen(frame.buffer_mut(), area, &self.view());
    }

    /// The loop that is meant where one is.
    pub(super) fn selected(&self) -> usize {
        self.alone.unwrap_or_else(|| self.view().selected())
    }

    /// The span the trend shows, as an index into [`SPANS`].
    pub(super) fn span_index(&self) -> usize {
        self.span.unwrap_or_else(|| {
            let began_s = self
                .watched
                .iter()
                .filter_map(|one| one.history.extent())
                .map(|(first_s, _)| first_s)
                .fold(f64::INFINITY, f64::min);
            let known_s = self.now.elapsed.as_secs_f64() - began_s;
            let fits = |i: &usize| SPANS[*i] >= known_s;
            (FIRST_SPAN..LARGEST_OWN_SPAN)
                .find(fits)
                .unwrap_or(if known_s > 0.0 {
                    LARGEST_OWN_SPAN
                } else {
                    FIRST_SPAN
                })
        })
    }

    /// The shortest span that shows all there is; longer ones show nothing more.
    pub(super) fn longest_span(&self) -> usize {
        let known_s = self.now.elapsed.as_secs_f64() - self.start_s();
        let all = (FIRST_SPAN..SPANS.len()).find(|i| SPANS[*i] >= known_s);
        all.unwrap_or(SPANS.len() - 1)
    }

    pub(super) fn view(&self) -> ScreenView<'_> {
        ScreenView {
            look: &self.screen.look,
            zone: self.screen.zone,
            title: &self.screen.title,
            goes_on: &self.screen.goes_on,
            now: self.now,
            recording: self.screen.recording,
            loops: self.watched.iter().map(|one| self.loop_view(one)).collect(),
            alone: self.alone,
            chosen: self.chosen,
            window: TimeWindow {
                span_s: SPANS[self.span_index()],
                until_s: self.until_s,
            },
            value_zoom: self.value_zoom,
            events: &self.events,
            open: &self.open,
            story: self.story.as_ref(),
            has_danger: self.has_danger(),
            notices: self.notices(),
            cursor: self.cursor,
        }
    }

    fn notices(&self) -> Vec<Notice> {
        let dangers = self.watched.iter().flat_map(|one| {
            let name = &one.facts.name;
            one.dangers.open().flat_map(move |peril| {
                [
                    Notice::trouble(format!("{name}: {}", peril.what())),
                    Notice::trouble(format!("first: {}", peril.first())),
                ]
            })
        });
        let advice = self.advice.advice().into_iter().flat_map(|advice| {
            [
                Notice::trouble(advice.what()),
                Notice::remark(format!("first: {}", advice.first())),
            ]
        });
        self.end_notice()
            .into_iter()
            .chain(dangers)
            .chain(advice)
            .chain(self.remarks.notices())
            .collect()
    }

    /// How the recording that is shown ended.
    fn end_notice(&self) -> Option<Notice> {
        let time = |at: Stamp| {
            let local = at.time.with_timezone(&(self.screen.zone)(at.time));
            local.format("%Y-%m-%d %H:%M:%S").to_string()
        };
        Some(Notice::trouble(match self.written {
            Written::Goes => return None,
            Written::Stopped(at) => format!(
                "Nobody writes this recording: last row {}, not closed.",
                time(at)
            ),
            Written::Closed(at) => {
                format!("The recording ended {}, closed in order.", time(at))
            }
        }))
    }

    /// Whether a danger waits for somebody to acknowledge it.
    pub(super) fn has_danger(&self) -> bool {
        self.watched
            .iter()
            .any(|one| one.dangers.open().next().is_some())
    }

    fn loop_view<'a>(&self, one: &'a Watched) -> LoopView<'a> {
        let now_s = self.now.elapsed.as_secs_f64();
        let pv = one.pv();
        let last_value = one.value.filter(|_| pv.is_none());
        let mut doing = doing(one, now_s);
        if !self.goes_on() {
            doing.text = format!("at the end: {}", doing.text);
        }
        LoopView {
            name: one.facts.name.as_str(),
            unit: &one.facts.unit,
            decimals: one.decimals(),
            band: one.facts.band,
            doing,
            pv,
            setpoint: one.target(),
            output: one.output(),
            last_value: last_value.map(|(at_s, number)| (now_s - at_s, number.as_f64())),
            history: &one.history,
            every_s: one.facts.every.as_secs_f64(),
            peaks: one.swings.peaks(),
            outcome: one.outcome(),
            disturbed: one.disturbed(),
            line: &one.facts.line,
            polls: one.polls,
            lost: &one.lost,
            health: one.health.as_ref(),
            episode: one.episode.as_ref().map(|episode| {
                let ago = TimeDelta::nanoseconds(((now_s - episode.start_s) * 1e9) as i64);
                let began = time_of_day(self.now.time - ago, self.screen.zone);
                episode::in_words(episode, &began, &one.facts.unit, one.decimals())
            }),
        }
    }
}

impl Recording {
    /// Whether a mark typed here is written down; another program's recording takes none from here.
    pub(super) fn takes_marks(self) -> bool {
        !matches!(self, Self::Elsewhere(_))
    }

    /// Since when, if at all.
    pub(super) fn since(self) -> Option<Stamp> {
        match self {
            Self::No => None,
            Self::Here(since) | Self::Elsewhere(since) => Some(since),
        }
    }
}
