//! Everything the screen waits for, one after the other.

use std::future::pending;
use std::io;
use std::time::Duration;

use futures_util::StreamExt;
use ratatui::crossterm::event::{Event as TerminalEvent, EventStream, KeyEvent, MouseEvent};
use ratatui::layout::Size;
use tokio::sync::{broadcast, watch};
use tokio::time::{Interval, MissedTickBehavior, interval};

use super::app::App;
use super::session::{Ask, Ending, Session, Story, Written};
use crate::sample::Entry;
use crate::signals::Signals;

/// Durations on the screen count in seconds.
const TICK: Duration = Duration::from_secs(1);
/// So many entries are taken in before the screen looks at keys again.
const AT_ONCE: usize = 1_000;

/// What came.
pub(super) enum Item {
    Key(KeyEvent),
    Mouse(MouseEvent),
    Resize(Size),
    Entry(Entry),
    /// The screen was too slow for so many entries.
    Missed(u64),
    /// No more entries will come.
    Over,
    Story(Story),
    Written(Written),
    Tick,
    End(Ending),
}

/// Where it comes from.
pub(super) struct News {
    session: Session,
    is_over: bool,
    terminal: EventStream,
    signals: Signals,
    panics: watch::Receiver<bool>,
    ticks: Interval,
}

impl News {
    pub(super) fn of(session: Session, panics: watch::Receiver<bool>) -> io::Result<Self> {
        let mut ticks = interval(TICK);
        ticks.set_missed_tick_behavior(MissedTickBehavior::Skip);
        Ok(Self {
            session,
            is_over: false,
            terminal: EventStream::new(),
            signals: Signals::listen()?,
            panics,
            ticks,
        })
    }

    /// Waits for the next item; nothing is lost if the wait is given up.
    pub(super) async fn next(&mut self) -> Item {
        let Self {
            session,
            is_over,
            terminal,
            signals,
            panics,
            ticks,
        } = self;
        loop {
            let item = tokio::select! {
                signal = signals.next() => Some(Item::End(Ending::Signal(signal))),
                Ok(()) = panics.changed() => Some(Item::End(Ending::Panicked)),
                event = terminal.next() => of_terminal(event.as_ref()),
                entry = session.entries.recv(), if !*is_over => Some(of_entries(entry)),
                story = next_of(&mut session.story) => Some(Item::Story(story)),
                written = next_of(&mut session.written) => Some(Item::Written(written)),
                _ = ticks.tick() => Some(Item::Tick),
            };
            if let Some(item) = item {
                return item;
            }
        }
    }

    /// Tells the screen; says whether it may look different now.
    pub(super) fn tell(&mut self, app: &mut App, item: Item) -> bool {
        match item {
            Item::Key(key) => {
                if let Some(ask) = app.on_key(key) {
                    self.ask(app, ask);
                }
            }
            Item::Mouse(event) => return app.on_mouse(event),
            Item::Resize(size) => app.on_resize(size),
            Item::Entry(entry) => {
                app.on_entry(&entry);
                self.tell_waiting_entries(app);
            }
            Item::Missed(count) => app.on_missed(count),
            Item::Over => {
                self.is_over = true;
                app.on_over();
            }
            Item::Story(story) => app.on_story(story),
            Item::Written(written) => app.on_written(written),
            Item::Tick if app.goes_on() => app.on_tick(self.session.clock.now()),
            Item::Tick | Item::End(_) => return false,
        }
        true
    }

    fn tell_waiting_entries(&mut self, app: &mut App) {
        for _ in 0..AT_ONCE {
            let Ok(entry) = self.session.entries.try_recv() else {
                return;
            };
            app.on_entry(&entry);
        }
    }

    fn ask(&self, app: &mut App, ask: Ask) {
        // Never waited for: a screen that hangs is worse than a wish that must be repeated.
        if self.session.asks.try_send(ask).is_err() {
            app.on_unheard();
        }
    }
}

fn of_terminal(event: Option<&io::Result<TerminalEvent>>) -> Option<Item> {
    match event {
        Some(Ok(TerminalEvent::Key(key))) => Some(Item::Key(*key)),
        Some(Ok(TerminalEvent::Mouse(event))) => Some(Item::Mouse(*event)),
        Some(Ok(TerminalEvent::Resize(width, height))) => {
            Some(Item::Resize(Size::new(*width, *height)))
        }
        Some(Ok(_)) => None,
        Some(Err(_)) | None => Some(Item::End(Ending::TerminalGone)),
    }
}

fn of_entries(entry: Result<Entry, broadcast::error::RecvError>) -> Item {
    match entry {
        Ok(entry) => Item::Entry(entry),
        Err(broadcast::error::RecvError::Lagged(count)) => Item::Missed(count),
        Err(broadcast::error::RecvError::Closed) => Item::Over,
    }
}

/// What is told next; waits for ever where nothing is told any more.
async fn next_of<T: Clone>(told: &mut Option<watch::Receiver<T>>) -> T {
    if let Some(receiver) = told
        && receiver.changed().await.is_ok()
    {
        return receiver.borrow_and_update().clone();
    }
    pending().await
}
