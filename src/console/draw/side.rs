//! What the trend does not say: the numbers of the present episode, and what happened.

use ratatui::buffer::Buffer;
use ratatui::layout::Rect;
use ratatui::style::Style;

use super::bars::wrapped;
use super::pen::{Pen, fit, width};
use crate::console::episode::Present;
use crate::console::look::Look;
use crate::console::view::{LoopView, ScreenView};
use crate::console::words::{time_of_day, told};
use crate::sample::{Event, Happening};

/// Where the figures stand in their table.
const FIGURES: u16 = 12;
/// Where there is no room for all of them, an event takes at most so many lines; the latest as many as
/// it needs.
const LINES_EACH: usize = 2;

/// Below the trend: one line of numbers, then the latest events, newest first.
pub(super) fn lines(buffer: &mut Buffer, area: Rect, view: &ScreenView, one: &LoopView) {
    let look = view.look;
    let mut pen = Pen::new(buffer, area);
    if let Some(present) = &one.episode {
        let room = area.width.saturating_sub(1);
        let mut x = pen.put(1, 0, &present.title, look.strong) + 3;
        for figure in &present.figures {
            let wide = width(figure.label) + 1 + width(&figure.value);
            if x + wide > room {
                break;
            }
            let after = pen.put(x, 0, figure.label, look.quiet);
            x = pen.put(after + 1, 0, &figure.value, look.strong) + 3;
        }
    }
    let mut events = view
        .events
        .iter()
        .rev()
        .filter(|e| one.is_concerned(e))
        .peekable();
    let mut first = 1;
    if let Some(event) = events.peek() {
        // What happened last is told whole where there is room.
        let lines = wrapped(&event_text(event, view), area.width.saturating_sub(2));
        if lines.len() > 1 && lines.len() < usize::from(area.height) {
            for line in &lines {
                pen.put(
                    if first == 1 { 1 } else { 7 },
                    first,
                    line,
                    style_of(event, look),
                );
                first += 1;
            }
            events.next();
        }
    }
    for y in first..area.height {
        let mut x = 1;
        // As many as fit on the row whole; one that is longer than a row is cut.
        while let Some(event) = events.peek() {
            let text = event_text(event, view);
            let room = area.width.saturating_sub(x + 1);
            if x > 1 && width(&text) > room {
                break;
            }
            pen.put(x, y, &fit(&text, room, look.ascii), style_of(event, look));
            x += width(&text) + 4;
            events.next();
        }
    }
}

/// Beside the trend: the same as a column.
pub(super) fn column(buffer: &mut Buffer, area: Rect, view: &ScreenView, one: &LoopView) {
    let look = view.look;
    let mut pen = Pen::new(buffer, area);
    let mut y = one
        .episode
        .as_ref()
        .map_or(0, |present| figures(&mut pen, present, look));
    pen.put(0, y, "what happened", look.quiet);
    y += 1;
    let concerned = view.events.iter().rev().filter(|e| one.is_concerned(e));
    let room = area.width.saturating_sub(7);
    let free = usize::from(area.height.saturating_sub(y));
    let shown: Vec<(&Event, Vec<String>)> = concerned
        .take(free)
        .map(|event| (event, wrapped(&told(event.what, &event.text, look), room)))
        .collect();
    let needed: usize = shown.iter().map(|(_, lines)| lines.len()).sum();
    for (index, (event, mut lines)) in shown.into_iter().enumerate() {
        let time = time_of_day(event.stamp.time, view.zone);
        pen.put(0, y, &time, look.quiet);
        if needed > free && index > 0 && lines.len() > LINES_EACH {
            let rest = lines.split_off(LINES_EACH - 1).join(" ");
            lines.push(fit(&rest, room, look.ascii));
        }
        for line in lines {
            pen.put(7, y, &line, style_of(event, look));
            y += 1;
        }
    }
}

/// The figures of an episode as a table; gives the row after it.
fn figures(pen: &mut Pen, present: &Present, look: &Look) -> u16 {
    pen.put(0, 0, &present.title, look.strong);
    let mut y = 1;
    for figure in &present.figures {
        pen.put(0, y, figure.label, look.quiet);
        let x = pen.put(FIGURES, y, &figure.value, look.strong);
        let room = pen.area().width.saturating_sub(x + 1);
        pen.put(x + 1, y, &fit(&figure.more, room, look.ascii), look.quiet);
        y += 1;
    }
    y + 1
}

fn style_of(event: &Event, look: &Look) -> Style {
    if event.what == Happening::Mark {
        look.mark
    } else {
        look.quiet
    }
}

fn event_text(event: &Event, view: &ScreenView) -> String {
    format!(
        "{} {}",
        time_of_day(event.stamp.time, view.zone),
        told(event.what, &event.text, view.look)
    )
}
