//! What each key does.

use ratatui::crossterm::event::{KeyCode, KeyEvent, KeyEventKind, KeyModifiers};

use super::app::{App, SPANS};
use super::remarks::Refusal;
use super::session::{Ask, Recording};
use super::view::Open;

/// The longest mark.
const LONGEST_MARK: usize = 200;
/// The arrow keys move the trend by this part of its span.
const PAN: f64 = 0.25;

/// Lines of help at a time.
const HELP_PAGE: u16 = 8;

/// From a quarter of the height for what there is to a sixteenth of it over the height.
const VALUE_ZOOMS: std::ops::RangeInclusive<i32> = -2..=4;

/// Along the loops, or along what happened.
#[derive(Clone, Copy)]
pub(super) enum Toward {
    Next,
    Previous,
}

impl App {
    /// Takes a key in; gives what it asks of others, if anything.
    pub fn on_key(&mut self, key: KeyEvent) -> Option<Ask> {
        // Windows tells of releases too.
        if key.kind == KeyEventKind::Release {
            return None;
        }
        self.remarks.has_advice = false;
        self.remarks.refusal = None;
        if key.modifiers.contains(KeyModifiers::CONTROL) {
            match key.code {
                KeyCode::Char('c') => {
                    self.ask_to_quit();
                    return None;
                }
                KeyCode::Char('z') => {
                    self.suspend();
                    return None;
                }
                _ => {}
            }
        }
        match std::mem::replace(&mut self.open, Open::Nothing) {
            Open::Mark(text) => self.on_key_in_mark(key, text),
            Open::Quit => {
                self.has_quit = matches!(key.code, KeyCode::Char('y' | 'Y'));
                if !self.has_quit && !matches!(key.code, KeyCode::Esc | KeyCode::Char('n' | 'N')) {
                    self.open = Open::Quit;
                }
                None
            }
            Open::Help(from) => self.on_key_in_help(key, from),
            Open::Nothing if self.cursor.is_some() && self.on_key_at_cursor(key) => None,
            Open::Nothing => self.on_plain_key(key),
        }
    }

    fn on_plain_key(&mut self, key: KeyEvent) -> Option<Ask> {
        match key.code {
            KeyCode::Char('q') => self.ask_to_quit(),
            KeyCode::Char('?' | 'h') | KeyCode::F(1) => self.open = Open::Help(0),
            KeyCode::Char('m') => self.begin_mark(),
            KeyCode::Char('n') => return self.go_on(),
            KeyCode::Char('a') => self.acknowledge(),
            KeyCode::Char('c') => self.next_cursor(),
            KeyCode::Char('[') => self.jump(Toward::Previous),
            KeyCode::Char(']') => self.jump(Toward::Next),
            KeyCode::Char(' ') => self.pause_or_follow(),
            KeyCode::Char('f') | KeyCode::End => self.follow(),
            KeyCode::Home => self.pan_to_start(),
            KeyCode::Left => self.pan(-PAN),
            KeyCode::Right => self.pan(PAN),
            KeyCode::PageUp => self.pan(-1.0),
            KeyCode::PageDown => self.pan(1.0),
            KeyCode::Char('+' | '=') => self.zoom_in_place(-1),
            KeyCode::Char('-') => self.zoom_in_place(1),
            KeyCode::Char('v') => self.zoom_values(1),
            KeyCode::Char('V') => self.zoom_values(-1),
            KeyCode::Char('b') => self.screen.look = self.screen.look.on_the_other_background(),
            KeyCode::Char('0') => {
                self.span = None;
                self.value_zoom = 0;
            }
            KeyCode::Tab | KeyCode::Down => self.select(Toward::Next),
            KeyCode::BackTab | KeyCode::Up => self.select(Toward::Previous),
            KeyCode::Enter if !self.watched.is_empty() => {
                self.chosen = Some(self.selected());
                self.alone = self.chosen;
            }
            KeyCode::Esc if self.watched.len() > 1 => self.alone = None,
            _ => {}
        }
        None
    }

    /// Any key closes help but those that show the rest of it; `q` still quits.
    fn on_key_in_help(&mut self, key: KeyEvent, from: u16) -> Option<Ask> {
        match key.code {
            KeyCode::Char('q') => return self.on_plain_key(key),
            KeyCode::Down | KeyCode::PageDown | KeyCode::Char(' ') => {
                let page = if key.code == KeyCode::Down {
                    1
                } else {
                    HELP_PAGE
                };
                self.open = Open::Help(from + page.min(self.places.help_below));
            }
            KeyCode::Up => self.open = Open::Help(from.saturating_sub(1)),
            KeyCode::PageUp => self.open = Open::Help(from.saturating_sub(HELP_PAGE)),
            _ => {}
        }
        None
    }

    fn on_key_in_mark(&mut self, key: KeyEvent, mut text: String) -> Option<Ask> {
        let is_command = key
            .modifiers
            .intersects(KeyModifiers::CONTROL | KeyModifiers::ALT);
        match key.code {
            KeyCode::Esc => return None,
            KeyCode::Enter if text.trim().is_empty() => return None,
            KeyCode::Enter => return Some(Ask::Mark(text.trim().to_owned())),
            KeyCode::Backspace => {
                text.pop();
            }
            KeyCode::Char('u') if key.modifiers.contains(KeyModifiers::CONTROL) => text.clear(),
            KeyCode::Char(c) if !is_command && text.chars().count() < LONGEST_MARK => {
                text.push(c);
            }
            _ => {}
        }
        self.open = Open::Mark(text);
        None
    }

    /// A mark is written where the recording is.
    fn begin_mark(&mut self) {
        match self.screen.recording {
            Recording::Elsewhere(_) => self.remarks.refusal = Some(Refusal::MarkElsewhere),
            Recording::Here(_) | Recording::No => self.open = Open::Mark(String::new()),
        }
    }

    /// Quits at once, or asks where that would end a recording.
    fn ask_to_quit(&mut self) {
        match self.screen.recording {
            Recording::Here(_) if !self.remarks.is_over => self.open = Open::Quit,
            _ => self.has_quit = true,
        }
    }

    /// Suspends the program, unless that would make a hole in a recording.
    fn suspend(&mut self) {
        match self.screen.recording {
            Recording::Here(_) if !self.remarks.is_over => {
                self.remarks.refusal = Some(Refusal::Recording);
            }
            _ => self.is_suspended = true,
        }
    }

    fn go_on(&self) -> Option<Ask> {
        let story = self.story.as_ref()?;
        story.next.as_ref().map(|_| Ask::GoOn)
    }

    fn acknowledge(&mut self) {
        for one in &mut self.watched {
            one.dangers.acknowledge();
        }
    }

    fn pause_or_follow(&mut self) {
        match self.until_s {
            None => self.pause(),
            Some(_) => self.follow(),
        }
    }

    pub(super) fn pause(&mut self) {
        self.span = Some(self.span_index());
        self.until_s = Some(self.now.elapsed.as_secs_f64());
    }

    fn follow(&mut self) {
        self.until_s = None;
        self.cursor = None;
    }

    fn pan(&mut self, spans: f64) {
        let now_s = self.now.elapsed.as_secs_f64();
        let span_s = SPANS[self.span_index()];
        if self.start_s() + span_s >= now_s {
            // All there is is shown already.
            return;
        }
        // From here on the span stays what it is.
        self.span = Some(self.span_index());
        let until_s = self.until_s.unwrap_or(now_s) + spans * span_s;
        // Moving on past the present means following it.
        self.until_s = (until_s < now_s).then_some(until_s.max(self.start_s() + span_s));
    }

    fn pan_to_start(&mut self) {
        let until_s = self.start_s() + SPANS[self.span_index()];
        if until_s < self.now.elapsed.as_secs_f64() {
            self.span = Some(self.span_index());
            self.until_s = Some(until_s);
        }
    }

    pub(super) fn start_s(&self) -> f64 {
        self.watched
            .iter()
            .filter_map(|one| one.history.extent())
            .map(|(first_s, _)| first_s)
            .fold(f64::INFINITY, f64::min)
            .min(self.now.elapsed.as_secs_f64())
    }

    /// Less or more time about the cursor, or from the beginning where that is shown.
    fn zoom_in_place(&mut self, by: i32) {
        let start_s = self.start_s();
        let left_s = self
            .until_s
            .map(|until_s| until_s - SPANS[self.span_index()]);
        let at_start = left_s.filter(|left_s| (left_s - start_s).abs() < 1.0);
        match self.cursor.map(|cursor| cursor.at_s).or(at_start) {
            Some(time_s) => self.zoom_about(time_s, by),
            None => self.zoom(by as isize),
        }
    }

    pub(super) fn zoom(&mut self, by: isize) {
        let wanted = self.span_index().saturating_add_signed(by);
        self.span = Some(wanted.min(self.longest_span()));
    }

    pub(super) fn zoom_values(&mut self, by: i32) {
        let wanted = self.value_zoom + by;
        self.value_zoom = wanted.clamp(*VALUE_ZOOMS.start(), *VALUE_ZOOMS.end());
    }

    fn select(&mut self, toward: Toward) {
        let order = self.view().order();
        let selected = self.selected();
        let Some(at) = order.iter().position(|i| *i == selected) else {
            return;
        };
        let step = match toward {
            Toward::Next => 1,
            Toward::Previous => order.len() - 1,
        };
        self.chosen = Some(order[(at + step) % order.len()]);
        if self.alone.is_some() {
            self.alone = self.chosen;
        }
    }
}
