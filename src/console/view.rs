//! What is drawn: plain data, put together anew for each picture.

use chrono::{DateTime, TimeDelta, Utc};

use crate::clock::Stamp;
use crate::sample::{Event, Happening, Health, Why};
use crate::trend::{History, Moment, Point};

use super::cursor::Cursor;
use super::doing::Doing;
use super::episode::Present;
use super::look::Look;
use super::remarks::Notice;
use super::session::{Recording, Story, Zone};

/// A whole screen.
pub(super) struct ScreenView<'a> {
    pub(super) look: &'a Look,
    pub(super) zone: Zone,
    pub(super) title: &'a str,
    /// What goes on where this terminal is closed.
    pub(super) goes_on: &'a str,
    pub(super) now: Stamp,
    pub(super) recording: Recording,
    pub(super) loops: Vec<LoopView<'a>>,
    /// The loop that is shown alone; `None` shows them all.
    pub(super) alone: Option<usize>,
    /// The loop that somebody chose.
    pub(super) chosen: Option<usize>,
    pub(super) window: TimeWindow,
    /// The value scale is so many times doubled, about the setpoint.
    pub(super) value_zoom: i32,
    pub(super) events: &'a [Event],
    pub(super) open: &'a Open,
    pub(super) story: Option<&'a Story>,
    /// Dangers, and what must be said about the screen itself.
    pub(super) notices: Vec<Notice>,
    /// Whether one of them waits for somebody to acknowledge it.
    pub(super) has_danger: bool,
    pub(super) cursor: Option<Cursor>,
}

/// One loop.
pub(super) struct LoopView<'a> {
    pub(super) name: &'a str,
    pub(super) unit: &'a str,
    pub(super) decimals: u32,
    pub(super) band: Option<f64>,
    pub(super) doing: Doing,
    pub(super) pv: Option<f64>,
    pub(super) setpoint: Option<f64>,
    pub(super) output: Option<f64>,
    /// How long ago the last process value came, while there is none.
    pub(super) last_value: Option<(f64, f64)>,
    pub(super) history: &'a History,
    /// One poll every so many seconds.
    pub(super) every_s: f64,
    pub(super) line: &'a str,
    pub(super) polls: u64,
    /// Polls that brought nothing, by reason.
    pub(super) lost: &'a [(Why, u64)],
    pub(super) health: Option<&'a Health>,
    pub(super) episode: Option<Present>,
    /// How the latest autotune ended.
    pub(super) outcome: Option<&'a Moment>,
    /// What disturbs the one that is under way.
    pub(super) disturbed: Option<String>,
    /// Extremes of the swings of the latest autotune: when, and the process value.
    pub(super) peaks: &'a [(f64, f64)],
}

/// The stretch of time the trend shows.
#[derive(Clone, Copy, Debug, PartialEq)]
pub(super) struct TimeWindow {
    /// How long.
    pub(super) span_s: f64,
    /// Where it ends; `None` follows the present.
    pub(super) until_s: Option<f64>,
}

/// What lies over the screen and takes the keys.
#[derive(Clone, Debug, PartialEq, Eq)]
pub(super) enum Open {
    /// Nothing.
    Nothing,
    /// The explanation of every key, from this line on.
    Help(u16),
    /// A note being typed.
    Mark(String),
    /// "Stop the recording?"
    Quit,
}

impl LoopView<'_> {
    /// How far the process value is from the setpoint.
    pub(super) fn deviation(&self) -> Option<f64> {
        Some(self.pv? - self.setpoint?)
    }

    /// Process value, setpoint and output of the sample nearest to a time.
    pub(super) fn at(&self, at_s: f64) -> [Option<f64>; 3] {
        let point = self.history.nearest(at_s);
        let value = |of: fn(Point) -> f32| point.map(of).filter(|v| v.is_finite()).map(f64::from);
        [value(|p| p.pv), value(|p| p.setpoint), value(|p| p.output)]
    }

    /// Whether an event concerns this loop.
    pub(super) fn is_concerned(&self, event: &Event) -> bool {
        event
            .of
            .as_ref()
            .is_none_or(|name| name.as_str() == self.name)
    }
}

/// More loops than this are listed, one row each.
const MOST_IN_GRID: usize = 4;

impl ScreenView<'_> {
    /// Whether the loops are listed.
    pub(super) fn is_list(&self) -> bool {
        self.alone.is_none() && self.loops.len() > MOST_IN_GRID
    }

    /// Indexes of the loops as they are shown: in a list the one that needs a person soonest first.
    pub(super) fn order(&self) -> Vec<usize> {
        let mut order: Vec<usize> = (0..self.loops.len()).collect();
        if self.is_list() {
            let off = |i: usize| self.loops[i].deviation().map_or(0.0, f64::abs);
            order.sort_by(|a, b| {
                let tones = self.loops[*b].doing.tone.cmp(&self.loops[*a].doing.tone);
                tones.then(off(*b).total_cmp(&off(*a)))
            });
        }
        order
    }

    /// The loop that Enter would open: until somebody has chosen, the first that is shown.
    pub(super) fn selected(&self) -> usize {
        let first = || self.order().first().copied().unwrap_or(0);
        self.chosen.unwrap_or_else(first)
    }

    /// Wall time at so many seconds since the clock began.
    pub(super) fn wall(&self, time_s: f64) -> DateTime<Utc> {
        let from_now = TimeDelta::nanoseconds(((time_s - self.now_s()) * 1e9) as i64);
        self.now.time + from_now
    }

    /// Seconds since the clock began.
    pub(super) fn now_s(&self) -> f64 {
        self.now.elapsed.as_secs_f64()
    }
}

/// What is written beside an event's line across the trend; `None` for events that show in the
/// values themselves, or only in the list.
pub(super) fn caption(moment: &Moment) -> Option<&str> {
    match moment.what {
        Happening::Mark => Some(&moment.text),
        Happening::AutotuneBegan => Some("autotune"),
        Happening::AutotuneTuned => Some("tuned"),
        Happening::AutotuneUnchanged => Some("tuning unchanged"),
        Happening::AutotuneUnknown => Some("autotune ended"),
        _ => None,
    }
}
