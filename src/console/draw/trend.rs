//! The trend: process value and setpoint above the output lane, on one time axis.

use ratatui::buffer::Buffer;
use ratatui::layout::{Constraint, Layout, Rect};

use super::super::look::Look;
use super::super::pixels::{Ink, Pixels};
use super::super::ticks::{ValueTicks, time_ticks};
use super::super::view::{LoopView, ScreenView, TimeWindow, caption};
use super::super::words::number;
use super::pen::{Pen, fit, width};
use crate::trend::{Columns, History, Span, Summary};

/// The label column: `1300.0 ` and the axis.
const AXIS: u16 = 7;
/// The picture moves on by this many cells at a time.
const STRIDE: f64 = 4.0;
/// Time labels stand at least this many cells apart.
const TIME_APART: f64 = 10.0;

/// The times that the columns of dots stand for.
struct TimeScale {
    from_s: f64,
    /// Of one column of dots; a cell has two.
    width_s: f64,
    dots: usize,
}

/// The values that the rows of dots stand for.
struct ValueScale {
    ticks: ValueTicks,
    rows: u16,
}

/// Draws the trend of a loop.
pub(super) fn draw(buffer: &mut Buffer, area: Rect, view: &ScreenView, one: &LoopView) {
    let lane_height = (area.height / 6).clamp(2, 6);
    let [plot, lane, axis] = Layout::vertical([
        Constraint::Fill(1),
        Constraint::Length(lane_height),
        Constraint::Length(2),
    ])
    .areas(area);
    draw_parts(buffer, [plot, lane, axis], view, one);
}

/// Draws plot, lane and time axis into areas of one width.
pub(super) fn draw_parts(
    buffer: &mut Buffer,
    [plot, lane, axis]: [Rect; 3],
    view: &ScreenView,
    one: &LoopView,
) {
    let plot_inside = inside(plot);
    if plot_inside.width == 0 || plot_inside.height == 0 {
        return;
    }
    let time = TimeScale::of(view, one.history, plot_inside.width);
    let drawn = one.history.columns(time.from_s, time.width_s, time.dots);
    let values = ValueScale::of(&drawn, one, plot_inside.height);
    value_axis(buffer, plot, &values, view.look);
    lines(buffer, plot_inside, &drawn, &time, &values, one, view.look);
    peaks(buffer, plot_inside, &time, &values, one, view.look);
    moments(buffer, plot_inside, &time, view, one);
    lane_of(buffer, lane, &drawn, view.look);
    cursors(buffer, [plot_inside, inside(lane)], &time, view);
    time_axis(buffer, axis, &drawn, &time, view, one);
}

/// What is right of the labels.
fn inside(area: Rect) -> Rect {
    let left = AXIS.min(area.width);
    Rect {
        x: area.x + left,
        width: area.width - left,
        ..area
    }
}

impl TimeScale {
    fn of(view: &ScreenView, history: &History, cells: u16) -> Self {
        let TimeWindow { span_s, until_s } = view.window;
        let dots = usize::from(cells) * 2;
        let width_s = span_s / dots as f64;
        // Whole strides, so that the picture stands still in between.
        let unit_s = 2.0 * STRIDE * width_s;
        let (first_s, last_s) = history.extent().unwrap_or((view.now_s(), view.now_s()));
        let end_s = (until_s.unwrap_or(last_s) / unit_s).floor() * unit_s + unit_s;
        // A short record grows from left to right; it moves only once it has filled the picture.
        let first_s = (first_s / unit_s).floor() * unit_s;
        Self {
            from_s: first_s.max(end_s - span_s),
            width_s,
            dots,
        }
    }

    /// The column of dots of a time.
    fn dot(&self, time_s: f64) -> f64 {
        (time_s - self.from_s) / self.width_s
    }

    /// The cell of a time, where it is on the picture.
    fn cell(&self, time_s: f64) -> Option<u16> {
        let dot = self.dot(time_s);
        (dot >= 0.0 && dot < self.dots as f64).then_some(dot as u16 / 2)
    }
}

impl ValueScale {
    fn of(drawn: &Columns, one: &LoopView, rows: u16) -> Self {
        let least = 10_f64.powi(-(one.decimals.cast_signed()));
        let mut low = f64::INFINITY;
        let mut high = f64::NEG_INFINITY;
        let mut cover = |span: Span| {
            for value in [span.min, span.max].into_iter().filter(|v| v.is_finite()) {
                low = low.min(f64::from(value));
                high = high.max(f64::from(value));
            }
        };
        for summary in drawn.columns.iter().flatten() {
            cover(summary.pv);
            cover(summary.setpoint);
        }
        for edge in [drawn.before, drawn.after].into_iter().flatten() {
            cover(Span::of(edge.setpoint));
        }
        if low > high {
            (low, high) = (0.0, 100.0);
        }
        let last = targets(drawn).last().map(|(_, target)| target);
        if let (Some(band), Some(setpoint)) = (one.band, last) {
            // Two bands each way, so that a quiet loop looks quiet.
            low = low.min(setpoint - 2.0 * band);
            high = high.max(setpoint + 2.0 * band);
        }
        Self {
            ticks: ValueTicks::covering(low, high, rows, least),
            rows,
        }
    }

    /// The row of dots of a value, 0 at the top.
    fn dot(&self, value: f64) -> f64 {
        let rows_up = (value - self.ticks.low) / self.ticks.per_row;
        // The middle of a row is its second and third dot; labels belong to the second.
        1.0 + 4.0 * (f64::from(self.rows) - 1.0 - rows_up)
    }
}

fn value_axis(buffer: &mut Buffer, area: Rect, values: &ValueScale, look: &Look) {
    let mut pen = Pen::new(buffer, area);
    for y in 0..area.height {
        pen.put(AXIS - 1, y, look.choose("│", "|"), look.quiet);
    }
    for (value, row) in values.ticks.labels(values.rows) {
        let y = values.rows - 1 - row;
        let label = &number(value, values.ticks.decimals);
        let x = (AXIS - 2).saturating_sub(width(label));
        pen.put(x, y, label, look.quiet);
        pen.put(AXIS - 1, y, look.choose("┤", "+"), look.quiet);
    }
}

fn lines(
    buffer: &mut Buffer,
    area: Rect,
    drawn: &Columns,
    time: &TimeScale,
    values: &ValueScale,
    one: &LoopView,
    look: &Look,
) {
    let mut pixels = Pixels::over(area);
    band_edges(&mut pixels, drawn, values, one.band);
    setpoint(&mut pixels, drawn, values);
    process_value(&mut pixels, drawn, time, values);
    pixels.render(buffer, look.ascii, |ink| match ink {
        Ink::Pv => look.pv,
        Ink::Setpoint => look.setpoint,
        Ink::Band | Ink::None => look.band,
    });
}

/// Dots along both edges of the band, thinly.
fn band_edges(pixels: &mut Pixels, drawn: &Columns, values: &ValueScale, band: Option<f64>) {
    let Some(band) = band else { return };
    for (x, target) in targets(drawn).filter(|(x, _)| x % 4 == 0) {
        for edge in [target - band, target + band] {
            pixels.dot(
                x.cast_signed(),
                values.dot(edge).round() as isize,
                Ink::Band,
            );
        }
    }
}

/// A dashed line, and a whole one where it jumps.
fn setpoint(pixels: &mut Pixels, drawn: &Columns, values: &ValueScale) {
    let mut last: Option<(usize, isize)> = None;
    for (x, target) in targets(drawn) {
        let y = values.dot(target).round() as isize;
        match last {
            Some((before, from)) if before + 1 == x && from != y => {
                pixels.column(x.cast_signed(), from, y, Ink::Setpoint);
            }
            _ if x % 6 < 4 => pixels.dot(x.cast_signed(), y, Ink::Setpoint),
            _ => {}
        }
        last = Some((x, y));
    }
}

/// The setpoint in force at each column that has a sample, or lies between two.
fn targets(drawn: &Columns) -> impl Iterator<Item = (usize, f64)> {
    let mut held = drawn.before.map_or(f32::NAN, |point| point.setpoint);
    let last = match drawn.after {
        Some(_) => drawn.columns.len(),
        None => drawn
            .columns
            .iter()
            .rposition(Option::is_some)
            .map_or(0, |i| i + 1),
    };
    let columns = drawn.columns[..last].iter().enumerate();
    columns.filter_map(move |(x, summary)| {
        if let Some(summary) = summary {
            held = summary.setpoint.last;
        }
        held.is_finite().then_some((x, f64::from(held)))
    })
}

/// The whole line: from each sample to the next, and over all that lie in one column.
fn process_value(pixels: &mut Pixels, drawn: &Columns, time: &TimeScale, values: &ValueScale) {
    let row = |value: f32| values.dot(f64::from(value));
    let mut from = drawn.before.map(|p| (time.dot(p.at_s), p.pv));
    for (x, summary) in drawn.columns.iter().enumerate() {
        let Some(Summary { pv, .. }) = summary else {
            continue;
        };
        let here = x as f64;
        if let Some((x0, value)) = from.filter(|(_, value)| value.is_finite())
            && pv.first.is_finite()
        {
            pixels.line((x0, row(value)), (here, row(pv.first)), Ink::Pv);
        }
        if pv.min.is_finite() {
            let (top, bottom) = (row(pv.max).round() as isize, row(pv.min).round() as isize);
            pixels.column(x.cast_signed(), top, bottom, Ink::Pv);
        }
        from = Some((here, pv.last));
    }
    if let (Some((x0, value)), Some(after)) = (from, drawn.after)
        && value.is_finite()
        && after.pv.is_finite()
    {
        pixels.line(
            (x0, row(value)),
            (time.dot(after.at_s), row(after.pv)),
            Ink::Pv,
        );
    }
}

/// A line down and a few words for what a person or the controller did.
fn moments(buffer: &mut Buffer, area: Rect, time: &TimeScale, view: &ScreenView, one: &LoopView) {
    let look = view.look;
    let mut pen = Pen::new(buffer, area);
    let moments = one.history.moments().iter();
    let drawn: Vec<(u16, &str)> = moments
        .filter_map(|moment| Some((time.cell(moment.at_s)?, caption(moment)?)))
        .collect();
    for (x, _) in &drawn {
        for y in 0..area.height {
            pen.put_behind(*x, y, look.choose("┊", ":"), look.mark);
        }
    }
    for (x, words) in drawn {
        let text = fit(words, 24, look.ascii);
        let lowest = (0..area.height)
            .rev()
            .find(|y| pen.is_free(x + 1, *y, width(&text) + 2));
        if let Some(y) = lowest {
            pen.put(x + 2, y, &text, look.mark);
        }
    }
}

/// Lines where the cursors are, behind everything else.
fn cursors(buffer: &mut Buffer, areas: [Rect; 2], time: &TimeScale, view: &ScreenView) {
    let Some(cursor) = view.cursor else { return };
    let look = view.look;
    let places = [
        (Some(cursor.at_s), look.strong),
        (cursor.from_s, look.quiet),
    ];
    for area in areas {
        let mut pen = Pen::new(buffer, area);
        for (at_s, style) in places {
            let cell = at_s.and_then(|at_s| time.cell(at_s));
            if let Some(x) = cell {
                for y in 0..area.height {
                    pen.put_behind(x, y, look.choose("│", "|"), style);
                }
            }
        }
    }
}

/// The extremes of an autotune's swings, written just past them.
fn peaks(
    buffer: &mut Buffer,
    area: Rect,
    time: &TimeScale,
    values: &ValueScale,
    one: &LoopView,
    look: &Look,
) {
    let mut pen = Pen::new(buffer, area);
    for (at_s, value) in one.peaks {
        let Some(x) = time.cell(*at_s) else { continue };
        let text = number(*value, one.decimals);
        let row = (values.dot(*value).round() / 4.0) as u16;
        let is_high = one.setpoint.is_none_or(|setpoint| *value > setpoint);
        let y = if is_high {
            row.checked_sub(1)
        } else {
            Some(row + 1)
        };
        let left = x.saturating_sub(width(&text) / 2);
        if let Some(y) = y.filter(|y| pen.is_free(left, *y, width(&text))) {
            pen.put(left, y, &text, look.quiet);
        }
    }
}

/// The output, filled from 0 to 100 %: solid up to what it kept, pale up to what it reached.
fn lane_of(buffer: &mut Buffer, area: Rect, drawn: &Columns, look: &Look) {
    let mut pen = Pen::new(buffer, area);
    let bottom = area.height.saturating_sub(1);
    for y in 0..area.height {
        pen.put(AXIS - 1, y, look.choose("│", "|"), look.quiet);
    }
    pen.put(AXIS - 5, 0, "100%", look.quiet);
    pen.put(AXIS - 3, bottom, "0%", look.quiet);
    for (x, pair) in drawn.columns.chunks(2).enumerate() {
        let spans = pair.iter().flatten().map(|summary| summary.output);
        let Some(span) = spans.reduce(Span::then) else {
            continue;
        };
        for y in 0..area.height {
            let cell = lane_cell(span, area.height, y);
            if let Some((level, is_kept)) = cell {
                let style = if is_kept {
                    look.output
                } else {
                    look.output_peak
                };
                let symbol = if look.ascii {
                    ascii_level(level, is_kept)
                } else {
                    block(level)
                };
                pen.put(AXIS + x as u16, y, symbol, style);
            }
        }
    }
}

/// How many eighths of a cell of the lane are filled, and whether with what was kept.
fn lane_cell(span: Span, rows: u16, y: u16) -> Option<(u16, bool)> {
    let eighths = |percent: f32| {
        let part = (percent / 100.0).clamp(0.0, 1.0);
        (part * f32::from(rows * 8)).round() as i32 - i32::from((rows - 1 - y) * 8)
    };
    if !span.min.is_finite() {
        return None;
    }
    let (kept, reached) = (eighths(span.min), eighths(span.max));
    if kept > 0 {
        Some((kept.min(8) as u16, true))
    } else if reached > 0 {
        Some((reached.min(8) as u16, false))
    } else {
        None
    }
}

fn block(eighths: u16) -> &'static str {
    ["▁", "▂", "▃", "▄", "▅", "▆", "▇", "█"][usize::from(eighths.clamp(1, 8)) - 1]
}

fn ascii_level(eighths: u16, is_kept: bool) -> &'static str {
    match (is_kept, eighths) {
        (true, 4..) => "#",
        (false, 4..) => ":",
        _ => ".",
    }
}

/// Ticks on round local times; a heavy line where an autotune was under way, crosses where values are
/// missing.
fn time_axis(
    buffer: &mut Buffer,
    area: Rect,
    drawn: &Columns,
    time: &TimeScale,
    view: &ScreenView,
    one: &LoopView,
) {
    let look = view.look;
    let mut pen = Pen::new(buffer, area);
    let cells = (time.dots / 2) as u16;
    pen.put(AXIS - 1, 0, look.choose("└", "+"), look.quiet);
    pen.put(
        AXIS,
        0,
        &look.choose("─", "-").repeat(usize::from(cells)),
        look.quiet,
    );
    tunes(&mut pen, time, view, one);
    for (x, pair) in drawn.columns.chunks(2).enumerate() {
        // A gap narrower than a column would not show in the line.
        if pair.iter().flatten().any(|summary| summary.is_broken) {
            pen.put(AXIS + x as u16, 0, look.choose("╳", "x"), look.trouble);
        }
    }
    let wall = |time_s: f64| view.wall(time_s);
    let end_s = time.from_s + time.width_s * time.dots as f64;
    let apart_s = TIME_APART * 2.0 * time.width_s;
    for tick in time_ticks(wall(time.from_s), wall(end_s), apart_s, view.zone) {
        let at = tick.time - wall(time.from_s);
        let at_s = time.from_s + at.as_seconds_f64();
        if let Some(x) = time.cell(at_s) {
            pen.put(AXIS + x, 0, look.choose("┬", "+"), look.quiet);
            let half = width(&tick.label) / 2;
            let left = (AXIS + x).saturating_sub(half);
            if left + width(&tick.label) <= AXIS + cells {
                pen.put(left, 1, &tick.label, look.quiet);
            }
        }
    }
}

fn tunes(pen: &mut Pen, time: &TimeScale, view: &ScreenView, one: &LoopView) {
    for (began_s, ended_s) in one.history.tunes() {
        let from = time.dot(*began_s).max(0.0) as u16 / 2;
        let until = time
            .dot(ended_s.unwrap_or(view.now_s()))
            .min(time.dots as f64 - 1.0);
        if until >= 0.0 {
            for x in from..=(until as u16 / 2) {
                pen.put(AXIS + x, 0, view.look.choose("━", "="), view.look.mark);
            }
        }
    }
}
