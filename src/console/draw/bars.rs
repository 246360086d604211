//! The rows above and below everything: what this is, what is told, and what can be done.

use ratatui::buffer::Buffer;
use ratatui::layout::Rect;
use ratatui::style::Style;

use super::health;
use super::pen::{Pen, fit, width};
use crate::console::doing::Tone;
use crate::console::look::Look;
use crate::console::session::{Recording, Story};
use crate::console::view::{LoopView, Open, ScreenView};
use crate::console::words::{arrows, lasting, time_of_day};

/// Name, sentence, recording and time of day.
pub(super) fn header(buffer: &mut Buffer, area: Rect, view: &ScreenView) {
    let look = view.look;
    let mut pen = Pen::new(buffer, area);
    let clock = time_of_day(view.now.time, view.zone);
    let mut left = pen.put_right(1, 0, &clock, look.strong);
    let (recording, style) = match view.recording.since() {
        Some(since) => {
            let lasted = view.now.elapsed.saturating_sub(since.elapsed);
            (
                format!("rec {}", lasting(lasted.as_secs_f64())),
                look.strong,
            )
        }
        None => ("not recording".to_owned(), look.quiet),
    };
    left = left.saturating_sub(width(&recording) + 2);
    pen.put(left, 0, &recording, style);
    let (name, sentence, style) = heading(view);
    let after = pen.put(
        1,
        0,
        &fit(&name, left.saturating_sub(2), look.ascii),
        look.strong,
    );
    let x = after + 3;
    let room = left.saturating_sub(x + 2);
    pen.put(x, 0, &fit(&sentence, room, look.ascii), style);
}

fn heading(view: &ScreenView) -> (String, String, Style) {
    if let Some(one) = view.alone.and_then(|i| view.loops.get(i)) {
        let style = tone_style(view.look, one.doing.tone);
        return (one.name.to_owned(), one.doing.text.clone(), style);
    }
    let in_band = view.loops.iter().filter(|one| one.doing.tone == Tone::Calm);
    let trouble = view
        .loops
        .iter()
        .filter(|one| one.doing.tone == Tone::Trouble);
    let (in_band, trouble) = (in_band.count(), trouble.count());
    let mut text = format!("{in_band} of {} in band", view.loops.len());
    if trouble > 0 {
        text = format!("{text}, {trouble} in trouble");
    }
    let tone = if trouble > 0 {
        Tone::Trouble
    } else {
        Tone::Moving
    };
    (view.title.to_owned(), text, tone_style(view.look, tone))
}

/// Says so where the picture stands still.
pub(super) fn paused(buffer: &mut Buffer, area: Rect, view: &ScreenView) {
    if let Some(until_s) = view.window.until_s.filter(|_| view.cursor.is_none()) {
        let at = time_of_day(view.wall(until_s), view.zone);
        let text = format!(" the picture stands at {at}: f follows again ");
        Pen::new(buffer, area).put_right(1, 0, &text, view.look.bar);
    }
}

/// The style of a sentence.
pub(super) fn tone_style(look: &Look, tone: Tone) -> Style {
    match tone {
        Tone::Calm | Tone::Moving => Style::new(),
        Tone::Tuning => look.mark,
        Tone::Off => look.setpoint,
        Tone::Unknown => look.quiet,
        Tone::Trouble => look.trouble,
    }
}

/// Rows the story needs.
pub(super) fn story_height(view: &ScreenView, columns: u16) -> u16 {
    view.story.map_or(0, |story| {
        let lines = caption_lines(view, story, columns).len() as u16;
        lines + u16::from(story.next.is_some())
    })
}

fn caption_lines(view: &ScreenView, story: &Story, columns: u16) -> Vec<String> {
    let caption = arrows(&story.caption, view.look);
    wrapped(&caption, columns.saturating_sub(4))
}

/// What is being told, and the key that goes on.
pub(super) fn story(buffer: &mut Buffer, area: Rect, view: &ScreenView) {
    let Some(story) = view.story else { return };
    let mut pen = Pen::new(buffer, area);
    for y in 0..area.height {
        pen.tint(y, view.look.bar);
    }
    let lines = caption_lines(view, story, area.width);
    for (y, line) in lines.iter().enumerate() {
        pen.put(2, y as u16, line, view.look.bar);
    }
    if let Some(next) = &story.next {
        let key = view.look.bar.patch(view.look.strong);
        let x = pen.put(2, lines.len() as u16, "n", key);
        pen.put(x + 1, lines.len() as u16, next, view.look.bar);
    }
}

/// Rows that dangers and what the screen says about itself need.
pub(super) fn notices_height(view: &ScreenView, columns: u16) -> u16 {
    notice_lines(view, columns).len() as u16
}

/// Dangers, and what the screen says about itself: whole, for a danger cut short may be taken wrong.
pub(super) fn notices(buffer: &mut Buffer, area: Rect, view: &ScreenView) {
    let mut pen = Pen::new(buffer, area);
    for (y, (line, style)) in notice_lines(view, area.width).iter().enumerate() {
        pen.put(1, y as u16, line, *style);
    }
}

fn notice_lines(view: &ScreenView, columns: u16) -> Vec<(String, Style)> {
    let lines = view.notices.iter().flat_map(|notice| {
        let style = if notice.is_trouble {
            view.look.trouble
        } else {
            view.look.quiet
        };
        let lines = wrapped(&notice.text, columns.saturating_sub(2));
        lines.into_iter().map(move |line| (line, style))
    });
    lines.collect()
}

/// Line health, and the keys that work now; or the question that is open.
pub(super) fn footer(buffer: &mut Buffer, area: Rect, view: &ScreenView, help_below: u16) {
    let look = view.look;
    let mut pen = Pen::new(buffer, area);
    match view.open {
        Open::Mark(text) => {
            pen.tint(0, look.bar);
            let keys = "Enter writes it   Esc drops it";
            let right = pen.put_right(1, 0, keys, look.bar);
            let what = match view.recording {
                Recording::No => "mark, on this screen only: ",
                _ => "mark: ",
            };
            let x = pen.put(1, 0, what, look.bar.patch(look.strong));
            let room = right.saturating_sub(x + 3);
            let x = pen.put(x, 0, &tail(text, room), look.bar);
            pen.put(x, 0, look.choose("▏", "_"), look.bar);
        }
        Open::Quit => {
            pen.tint(0, look.bar);
            let is_tuning = |one: &LoopView| one.doing.tone == Tone::Tuning;
            let tuning = view.loops.iter().find(|one| is_tuning(one));
            let tuning = tuning.map_or(String::new(), |one| format!("{} tunes. ", one.name));
            let question = format!("{tuning}Stop the recording and leave?   y yes   n no");
            let question = tail(&question, area.width.saturating_sub(2));
            pen.put(1, 0, &question, look.bar.patch(look.strong));
        }
        Open::Nothing | Open::Help(_) => {
            let mut left = area.width;
            for (key, what) in hints(view, help_below).iter().rev() {
                let wide = width(key) + 1 + width(what);
                left = left.saturating_sub(wide + if left == area.width { 1 } else { 2 });
                let x = pen.put(left, 0, key, look.strong);
                pen.put(x + 1, 0, what, look.quiet);
            }
            let room = left.saturating_sub(3);
            pen.put(1, 0, &health::strip(view, room), look.quiet);
        }
    }
}

fn hints(view: &ScreenView, help_below: u16) -> Vec<(&'static str, &'static str)> {
    let mut hints = Vec::new();
    if let Open::Help(_) = view.open {
        if help_below > 0 {
            hints.push((view.look.choose("↓", "down"), "more"));
        }
        hints.extend([("Esc", "close help"), ("q", "quit")]);
        return hints;
    }
    if view.has_danger {
        hints.push(("a", "acknowledge"));
    }
    if view.cursor.is_some() {
        hints.extend([
            ("← →", "move"),
            ("c", "second cursor"),
            ("Esc", "no cursor"),
        ]);
        if view.cursor.is_some_and(|cursor| cursor.from_s.is_some()) {
            hints[1] = ("c", "no cursor");
            hints.pop();
        }
        hints.extend([("f", "follow"), ("q", "quit")]);
        return hints;
    }
    if view.loops.len() > 1 {
        hints.push(("Tab", "next"));
        hints.push(if view.alone.is_some() {
            ("Esc", "all")
        } else {
            ("Enter", "open")
        });
    }
    if view.recording.takes_marks() {
        hints.push(("m", "mark"));
    }
    hints.push(match view.window.until_s {
        None => ("space", "pause"),
        Some(_) => ("f", "follow"),
    });
    hints.push(("?", "help"));
    hints.push(("q", "quit"));
    hints
}

/// The end of a text that is being typed.
fn tail(text: &str, columns: u16) -> String {
    let mut out = text.to_owned();
    while width(&out) > columns && !out.is_empty() {
        out.remove(0);
    }
    out
}

/// A text in lines of so many columns, cut between words.
pub(super) fn wrapped(text: &str, columns: u16) -> Vec<String> {
    let mut lines = vec![String::new()];
    for word in text.split_whitespace() {
        let last = lines.last().map_or(0, |line| width(line));
        if last > 0 && last + 1 + width(word) > columns {
            lines.push(String::new());
        }
        if let Some(line) = lines.last_mut() {
            if !line.is_empty() {
                line.push(' ');
            }
            line.push_str(word);
        }
    }
    lines
}
