//! A place on the time axis that is read out exactly.

use ratatui::crossterm::event::{KeyCode, KeyEvent, KeyModifiers};

use super::app::{App, SPANS};
use super::keys::Toward;
use crate::trend::Point;

/// The cursor moves by this part of the span, or ten times that.
const STEPS_PER_SPAN: f64 = 120.0;
/// Closer than this the cursor is on an event already.
const JUST_HERE_S: f64 = 0.5;

/// A place on the time axis, and perhaps one to compare it with.
#[derive(Clone, Copy, Debug, PartialEq)]
pub(super) struct Cursor {
    /// Where it is, in seconds since the clock began.
    pub(super) at_s: f64,
    /// The other place.
    pub(super) from_s: Option<f64>,
}

impl Cursor {
    /// The next of three: one cursor, two, none.
    pub(super) fn next(cursor: Option<Self>, present_s: f64) -> Option<Self> {
        match cursor {
            None => Some(Self {
                at_s: present_s,
                from_s: None,
            }),
            Some(Self { at_s, from_s: None }) => Some(Self {
                at_s,
                from_s: Some(at_s),
            }),
            Some(_) => None,
        }
    }
}

impl App {
    /// One cursor, then two, then none again. The picture stands still under a cursor.
    pub(super) fn next_cursor(&mut self) {
        let present_s = self.until_s.unwrap_or(self.now.elapsed.as_secs_f64());
        self.cursor = Cursor::next(self.cursor, present_s);
        if self.cursor.is_some() && self.until_s.is_none() {
            self.pause();
        }
    }

    /// Takes a key while there is a cursor; says whether it was meant for it.
    pub(super) fn on_key_at_cursor(&mut self, key: KeyEvent) -> bool {
        let far = if key.modifiers.contains(KeyModifiers::SHIFT) {
            10.0
        } else {
            1.0
        };
        match key.code {
            KeyCode::Left => self.move_cursor(-far),
            KeyCode::Right => self.move_cursor(far),
            KeyCode::PageUp => self.move_cursor(-10.0),
            KeyCode::PageDown => self.move_cursor(10.0),
            KeyCode::Esc => self.cursor = None,
            _ => return false,
        }
        true
    }

    /// Puts the cursor on the next or the previous thing that happened.
    pub(super) fn jump(&mut self, toward: Toward) {
        let present_s = self.until_s.unwrap_or(self.now.elapsed.as_secs_f64());
        let here_s = self.cursor.map_or(present_s, |cursor| cursor.at_s);
        let Some(one) = self.watched.get(self.selected()) else {
            return;
        };
        let mut times = one.history.moments().iter().map(|moment| moment.at_s);
        let found = match toward {
            Toward::Next => times.find(|at_s| *at_s > here_s + JUST_HERE_S),
            Toward::Previous => times.rfind(|at_s| *at_s < here_s - JUST_HERE_S),
        };
        if let Some(at_s) = found {
            self.put_cursor(at_s);
        }
    }

    fn move_cursor(&mut self, steps: f64) {
        let Some(cursor) = self.cursor else { return };
        let every_s = self
            .watched
            .get(self.selected())
            .map_or(1.0, |one| one.facts.every.as_secs_f64());
        let step_s = (SPANS[self.span_index()] / STEPS_PER_SPAN).max(every_s);
        let to_s = cursor.at_s + steps * step_s;
        // A small step over a peak ends on it; a large one is only the way there.
        let from_s = to_s - steps.signum() * step_s;
        self.put_cursor(self.extreme_between(from_s, to_s).unwrap_or(to_s));
    }

    /// Where the process value turns between two times: at a sample beyond those at both ends.
    pub(super) fn extreme_between(&self, from_s: f64, to_s: f64) -> Option<f64> {
        let one = self.watched.get(self.selected())?;
        let within: Vec<Point> = one
            .history
            .between(from_s.min(to_s), from_s.max(to_s))
            .collect();
        let (first, last) = (within.first()?.pv, within.last()?.pv);
        let by_value = |a: &&Point, b: &&Point| a.pv.total_cmp(&b.pv);
        let top = within.iter().max_by(by_value)?;
        let bottom = within.iter().min_by(by_value)?;
        let above = top.pv - first.max(last);
        let below = first.min(last) - bottom.pv;
        let found = if above >= below { top } else { bottom };
        (above.max(below) > 0.0).then_some(found.at_s)
    }

    /// Puts the cursor at a time, and the picture where the cursor is.
    pub(super) fn put_cursor(&mut self, at_s: f64) {
        if self.until_s.is_none() {
            self.pause();
        }
        let at_s = at_s.clamp(self.start_s(), self.now.elapsed.as_secs_f64());
        let from_s = self.cursor.and_then(|cursor| cursor.from_s);
        self.cursor = Some(Cursor { at_s, from_s });
        let span_s = SPANS[self.span_index()];
        let until_s = self.until_s.unwrap_or(at_s);
        // A tenth of the picture stays beyond the cursor.
        if at_s > until_s {
            self.until_s = Some(at_s + span_s / 10.0);
        } else if at_s < until_s - span_s {
            self.until_s = Some(at_s + span_s * 0.9);
        }
    }
}
