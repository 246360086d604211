//! What the trend does not say: the numbers of the present episode, and what happened.

use ratatui::buffer::Buffer;
use ratatui::layout::Rect;

use super::super::view::{LoopView, ScreenView};
use super::super::words::time_of_day;
use super::bars::wrapped;
use super::pen::{Pen, fit, width};
use crate::sample::{Event, Happening};

/// Below the trend: one line of numbers, then the latest events, newest first.
pub(super) fn lines(buffer: &mut Buffer, area: Rect, view: &ScreenView, one: &LoopView) {
    let look = view.look;
    let mut pen = Pen::new(buffer, area);
    if let Some(episode) = &one.episode {
        pen.put(1, 0, &fit(episode, area.width - 2, look.ascii), look.strong);
    }
    let mut events = view.events.iter().rev().filter(|e| one.is_concerned(e));
    for y in 1..area.height {
        let mut x = 1;
        // As many as fit on the row, whole.
        for event in events.by_ref() {
            let text = event_text(event, view);
            let room = area.width.saturating_sub(x + 1);
            let style = if event.what == Happening::Mark {
                look.mark
            } else {
                look.quiet
            };
            pen.put(x, y, &fit(&text, room, look.ascii), style);
            x += width(&text) + 4;
            if x + 30 > area.width {
                break;
            }
        }
    }
}

/// Beside the trend: the same as a column.
pub(super) fn column(buffer: &mut Buffer, area: Rect, view: &ScreenView, one: &LoopView) {
    let look = view.look;
    let mut pen = Pen::new(buffer, area);
    let mut y = 0;
    if let Some(episode) = &one.episode {
        for line in wrapped(episode, area.width) {
            pen.put(0, y, &line, look.strong);
            y += 1;
        }
        y += 1;
    }
    pen.put(0, y, "what happened", look.quiet);
    y += 1;
    for event in view.events.iter().rev().filter(|e| one.is_concerned(e)) {
        if y >= area.height {
            return;
        }
        let time = time_of_day(event.stamp.time, view.zone);
        let style = if event.what == Happening::Mark {
            look.mark
        } else {
            look.quiet
        };
        pen.put(0, y, &time, look.quiet);
        for line in wrapped(&told(event), area.width.saturating_sub(7)) {
            pen.put(7, y, &line, style);
            y += 1;
        }
    }
}

fn event_text(event: &Event, view: &ScreenView) -> String {
    format!(
        "{} {}",
        time_of_day(event.stamp.time, view.zone),
        told(event)
    )
}

fn told(event: &Event) -> String {
    match event.what {
        Happening::Mark => format!("mark: {}", event.text),
        _ => event.text.clone(),
    }
}
