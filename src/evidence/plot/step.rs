//! Before and after over each other, from the moment of the step.

use std::fmt::Write as _;

use super::curve::{Between, Curve, path};
use super::decimate::Point;
use super::label::{Occupied, text_width};
use super::panel::{Panel, write_at};
use super::scale::{Scale, TimeTicks, time_ticks};
use super::size::{self, BELOW, BETWEEN, Caption, Size, TOP};
use crate::evidence::comparison::{Comparison, Side};
use crate::evidence::format;
use crate::evidence::markup::{Markup, Px};

/// How much of the value axis is shown.
#[derive(Clone, Copy, PartialEq, Eq)]
pub(in crate::evidence) enum Zoom {
    /// Everything the process value did.
    Whole,
    /// What happened about the target.
    Target,
}

/// A picture of both steps.
pub(in crate::evidence) struct StepPicture<'a> {
    comparison: &'a Comparison<'a>,
    curves: [SideCurves<'a>; 2],
    /// Seconds since the step, from and to.
    shown: (f64, f64),
    values: (f64, f64),
    decimals: usize,
    zoom: Zoom,
}

struct SideCurves<'a> {
    side: Side<'a>,
    /// `before` or `after`: the word in the picture and the class of its lines.
    word: &'static str,
    pv: Curve,
    setpoint: Curve,
    output: Option<Curve>,
}

/// A text that wants to stand near something.
struct Wish {
    anchor: Point,
    text: String,
    class: &'static str,
    bold: bool,
    /// Whether the anchor itself is worth a dot.
    dot: bool,
}

impl<'a> StepPicture<'a> {
    /// `None` when neither side has a sample to show.
    pub(in crate::evidence) fn new(comparison: &'a Comparison<'a>, zoom: Zoom) -> Option<Self> {
        let until = shown_s(comparison);
        let shown = (-0.04 * until, until);
        let curves = [
            SideCurves::new(comparison.before, "before", shown),
            SideCurves::new(comparison.after, "after", shown),
        ];
        let values = match zoom {
            Zoom::Whole => whole_range(&curves, shown),
            Zoom::Target => target_range(comparison),
        }?;
        Some(Self {
            comparison,
            decimals: format::decimals_of(&comparison.after.record.pv),
            curves,
            shown,
            values,
            zoom,
        })
    }

    /// Seconds after the step at which the picture ends.
    pub(in crate::evidence) fn ends_s(&self) -> f64 {
        self.shown.1
    }

    /// Whether a close-up of the target would show more than this picture does.
    pub(in crate::evidence) fn needs_close_up(&self) -> bool {
        target_range(self.comparison)
            .is_some_and(|near| (near.1 - near.0) * 4.0 < self.values.1 - self.values.0)
    }

    /// Writes the picture, in both sizes.
    pub(in crate::evidence) fn write(&self, page: &mut Markup) {
        let (key, title) = match self.zoom {
            Zoom::Whole => (
                "step",
                "Process value and output after the step, before and after",
            ),
            Zoom::Target => ("near", "The same, close to the target"),
        };
        let caption = Caption {
            key,
            title,
            description: &self.description(),
        };
        let has_lane = self.has_lane();
        size::both(
            page,
            &caption,
            |size| {
                let lane = if has_lane { BETWEEN + size.lane } else { 0.0 };
                TOP + size.main + lane + BELOW
            },
            |svg, size| self.draw(svg, size, key),
        );
    }

    fn has_lane(&self) -> bool {
        self.zoom == Zoom::Whole && self.curves.iter().any(|curves| curves.output.is_some())
    }

    fn draw(&self, svg: &mut Markup, size: Size, key: &str) {
        let marks = time_ticks(self.shown.0, self.shown.1, size.time_marks);
        let clip = format!("{key}-{}-clip", size.key);
        let main = self.main_panel(size);
        self.draw_main(svg, &main, size, &marks, &clip);
        let time_title = format!("{} since the step", marks.unit);
        if self.has_lane() {
            let lane = self.lane_panel(size);
            self.draw_lane(svg, &lane, size, &marks);
            lane.time_labels(svg, &marks, &time_title);
        } else {
            main.time_labels(svg, &marks, &time_title);
        }
    }

    fn main_panel(&self, size: Size) -> Panel {
        self.panel(size, TOP, size.main, self.values)
    }

    fn lane_panel(&self, size: Size) -> Panel {
        let outputs = self
            .curves
            .iter()
            .filter_map(|curves| curves.output.as_ref());
        let (low, high) = outputs
            .flat_map(|output| output.values(self.shown))
            .fold((0.0, 100.0), |(low, high): (f64, f64), value| {
                (low.min(value), high.max(value))
            });
        self.panel(size, TOP + size.main + BETWEEN, size.lane, (low, high))
    }

    fn panel(&self, size: Size, top: f64, height: f64, values: (f64, f64)) -> Panel {
        Panel {
            x: Scale {
                values: self.shown,
                pixels: (size.left, size.right),
            },
            y: Scale {
                values,
                pixels: (top + height, top),
            },
        }
    }

    fn draw_main(
        &self,
        svg: &mut Markup,
        panel: &Panel,
        size: Size,
        marks: &TimeTicks,
        clip: &str,
    ) {
        let unit = format::unit_sign(self.comparison.unit());
        svg.tag("clipPath", &[("id", &clip)], |clip| {
            panel.rectangle(clip, "clip");
        });
        let inside = format!("url(#{clip})");
        svg.tag("g", &[("clip-path", &inside)], |svg| {
            self.draw_band(svg, panel);
        });
        panel.time_grid(svg, marks);
        panel.value_axis(svg, size.value_marks);
        svg.tag("g", &[("clip-path", &inside)], |svg| {
            self.draw_gaps(svg, panel);
            self.draw_setpoints(svg, panel);
            for curves in &self.curves {
                let lines = curves.pv.lines(panel, Between::Straight);
                write_path(svg, &format!("curve {}", curves.word), &lines);
            }
        });
        panel.title(svg, &axis_title(unit));
        self.draw_labels(svg, panel, size);
    }

    fn draw_band(&self, svg: &mut Markup, panel: &Panel) {
        let Some((target, band)) = target_and_band(self.comparison.after) else {
            return;
        };
        let (top, bottom) = (panel.y.at(target + band), panel.y.at(target - band));
        svg.leaf(
            "rect",
            &[
                ("class", &"band"),
                ("x", &Px(panel.x.at(0.0))),
                ("y", &Px(top)),
                ("width", &Px(panel.right() - panel.x.at(0.0))),
                ("height", &Px(bottom - top)),
            ],
        );
    }

    fn draw_gaps(&self, svg: &mut Markup, panel: &Panel) {
        for curves in &self.curves {
            for (from, to) in curves.pv.gaps(self.shown) {
                let (left, right) = (panel.x.at(from), panel.x.at(to));
                // A lost poll or two cannot be seen and needs no mark; the notes count them.
                if right - left < 3.0 {
                    continue;
                }
                svg.tag(
                    "rect",
                    &[
                        ("class", &"gap"),
                        ("x", &Px(left)),
                        ("y", &Px(panel.top())),
                        ("width", &Px(right - left)),
                        ("height", &Px(panel.bottom() - panel.top())),
                    ],
                    |rect| {
                        let text = format!("no data {}: {}", curves.word, format::span(to - from));
                        rect.words("title", &[], &text);
                    },
                );
            }
        }
    }

    fn draw_setpoints(&self, svg: &mut Markup, panel: &Panel) {
        let [before, after] = &self.curves;
        let after_lines = after.setpoint.lines(panel, Between::Held);
        write_path(svg, "setpoint", &after_lines);
        if before.side.episode.to != after.side.episode.to {
            write_path(
                svg,
                "setpoint",
                &before.setpoint.lines(panel, Between::Held),
            );
        }
    }

    fn draw_labels(&self, svg: &mut Markup, panel: &Panel, size: Size) {
        let mut taken = Occupied::new(panel.left(), panel.right(), panel.top(), panel.bottom());
        for curves in &self.curves {
            for line in curves.pv.lines(panel, Between::Straight) {
                taken.take_line(&line);
            }
            for line in curves.setpoint.lines(panel, Between::Held) {
                taken.take_line(&line);
            }
        }
        for wish in self.wishes(panel, size) {
            draw_wish(svg, &wish, &mut taken, size);
        }
    }

    /// Labels by importance: names and peaks, then settling, then the setpoint.
    fn wishes(&self, panel: &Panel, size: Size) -> Vec<Wish> {
        let names = self.curves.iter().filter_map(|c| self.name_wish(c, panel));
        let settled = self
            .curves
            .iter()
            .filter_map(|c| self.settled_wish(c, panel, size));
        names
            .chain(settled)
            .chain(self.setpoint_wish(panel))
            .collect()
    }

    fn name_wish(&self, curves: &SideCurves<'_>, panel: &Panel) -> Option<Wish> {
        let unit = format::unit_sign(self.comparison.unit());
        let numbers = &curves.side.episode.numbers;
        let target = curves.side.episode.to;
        let peak = numbers
            .overshoot
            .filter(|over| *over > 0.0)
            .zip(numbers.peak_s);
        let (time, text) = match peak.filter(|(_, at)| self.is_shown(*at)) {
            Some((over, at)) => {
                let up = curves
                    .pv
                    .value_at(at)
                    .zip(target)
                    .is_none_or(|(pv, to)| pv >= to);
                let over = format::signed(if up { over } else { -over }, self.decimals);
                (
                    at,
                    format!("{} {}", curves.word, format::with_unit(&over, unit)),
                )
            }
            None => (self.where_apart(curves.word)?, curves.word.to_owned()),
        };
        let value = curves.pv.value_at(time)?;
        Some(Wish {
            anchor: (panel.x.at(time), panel.y.at(value)),
            text,
            class: curves.word,
            bold: true,
            dot: true,
        })
    }

    /// Where the curve is furthest from the other one, so that its name cannot be mistaken.
    fn where_apart(&self, word: &str) -> Option<f64> {
        let [before, after] = &self.curves;
        let (own, other) = if word == before.word {
            (before, after)
        } else {
            (after, before)
        };
        let times = (1..100).map(|part| self.shown.1 * f64::from(part) / 100.0);
        times
            .filter_map(|time| {
                let value = own.pv.value_at(time)?;
                let apart = other
                    .pv
                    .value_at(time)
                    .map_or(0.0, |there| (value - there).abs());
                Some((time, apart))
            })
            .max_by(|a, b| a.1.total_cmp(&b.1))
            .map(|(time, _)| time)
    }

    fn settled_wish(&self, curves: &SideCurves<'_>, panel: &Panel, size: Size) -> Option<Wish> {
        let at = curves.side.episode.numbers.settling_s;
        let at = at.filter(|at| self.is_shown(*at))?;
        let value = curves.pv.value_at(at)?;
        let span = format::span(at);
        let text = if size.key == size::NARROW.key {
            span
        } else {
            format!("in band after {span}")
        };
        Some(Wish {
            anchor: (panel.x.at(at), panel.y.at(value)),
            text,
            class: curves.word,
            bold: false,
            dot: true,
        })
    }

    fn setpoint_wish(&self, panel: &Panel) -> Option<Wish> {
        let (target, band) = target_and_band(self.comparison.after)?;
        let unit = format::unit_sign(self.comparison.unit());
        let decimals = format::decimals_of(&[target, band]);
        let band = format::quantity(band, decimals, unit);
        Some(Wish {
            anchor: (panel.right(), panel.y.at(target)),
            text: format!("setpoint {} \u{b1} {band}", format::fixed(target, decimals)),
            class: "plain",
            bold: false,
            dot: false,
        })
    }

    fn is_shown(&self, time: f64) -> bool {
        (self.shown.0..=self.shown.1).contains(&time)
    }

    fn draw_lane(&self, svg: &mut Markup, lane: &Panel, size: Size, marks: &TimeTicks) {
        lane.time_grid(svg, marks);
        lane.value_axis(svg, 3);
        let mut taken = Occupied::new(lane.left(), lane.right(), lane.top(), lane.bottom());
        for curves in &self.curves {
            if let Some(output) = &curves.output {
                let lines = output.lines(lane, Between::Held);
                write_path(svg, &format!("curve thin {}", curves.word), &lines);
                for line in &lines {
                    taken.take_line(line);
                }
            }
        }
        lane.title(svg, "output, %");
        for curves in &self.curves {
            let output = curves.output.as_ref();
            let at = self.shown.1 * 0.3;
            if let Some(value) = output.and_then(|output| output.value_at(at)) {
                let wish = Wish {
                    anchor: (lane.x.at(at), lane.y.at(value)),
                    text: curves.word.to_owned(),
                    class: curves.word,
                    bold: false,
                    dot: false,
                };
                draw_wish(svg, &wish, &mut taken, size);
            }
        }
    }

    fn description(&self) -> String {
        let unit = format::unit_sign(self.comparison.unit());
        let mut text =
            String::from("Time since the step from left to right, process value upwards");
        for curves in &self.curves {
            let numbers = &curves.side.episode.numbers;
            let over = numbers.overshoot.map_or_else(
                || "overshoot not known".to_owned(),
                |over| format!("overshoot {}", format::quantity(over, self.decimals, unit)),
            );
            let settled = numbers.settling_s.map_or_else(
                || "not settled in the time shown".to_owned(),
                |at| format!("in band after {}", format::span(at)),
            );
            let _ = write!(
                text,
                ". {}: {over}, {settled}",
                format::sentence(curves.word)
            );
        }
        text.push('.');
        text
    }
}

impl<'a> SideCurves<'a> {
    fn new(side: Side<'a>, word: &'static str, shown: (f64, f64)) -> Self {
        let (record, origin) = (side.record, side.episode.start_s);
        let curve = |values: &[f64]| Curve::new(&record.time_s, values, origin, shown);
        Self {
            side,
            word,
            pv: curve(&record.pv),
            setpoint: record
                .setpoint
                .as_deref()
                .map_or_else(|| target_line(side, shown), curve),
            output: record
                .output
                .as_deref()
                .map(curve)
                .filter(|output| output.values(shown).next().is_some()),
        }
    }
}

/// The setpoint of a record that has no setpoint column.
fn target_line(side: Side<'_>, shown: (f64, f64)) -> Curve {
    let to = side.episode.to.unwrap_or(f64::NAN);
    Curve::new(&[0.0, shown.1], &[to, to], 0.0, shown)
}

/// The target and the half-width of the band that counts as settled.
fn target_and_band(side: Side<'_>) -> Option<(f64, f64)> {
    let band = side.episode.numbers.settling_band.or(side.record.band);
    side.episode.to.zip(band)
}

/// The common window, cut where both have long been quiet, so that the action fills the picture.
fn shown_s(comparison: &Comparison<'_>) -> f64 {
    let window = |side: &Side<'_>| {
        let length = side.episode.end_s - side.episode.start_s;
        side.episode.numbers.window_s.unwrap_or(length)
    };
    let sides = comparison.sides();
    let common = sides.iter().map(window).fold(f64::INFINITY, f64::min);
    let settled = sides
        .iter()
        .map(|side| side.episode.numbers.settling_s)
        .try_fold(0.0, |longest: f64, at| at.map(|at| longest.max(at)));
    let quiet = settled.map_or(f64::INFINITY, |at| whole_minutes(1.6 * at));
    let shown = common.min(quiet);
    if shown.is_finite() && shown > 0.0 {
        shown
    } else {
        60.0
    }
}

fn whole_minutes(seconds: f64) -> f64 {
    if seconds < 300.0 {
        (seconds / 10.0).ceil() * 10.0
    } else {
        (seconds / 60.0).round() * 60.0
    }
}

fn whole_range(curves: &[SideCurves<'_>; 2], shown: (f64, f64)) -> Option<(f64, f64)> {
    let all = curves.iter().flat_map(|curves| {
        let target = target_and_band(curves.side);
        let band = target
            .into_iter()
            .flat_map(|(to, band)| [to - band, to + band]);
        curves.pv.values(shown).chain(band)
    });
    let (low, high) = all.fold((f64::INFINITY, f64::NEG_INFINITY), |(low, high), value| {
        (low.min(value), high.max(value))
    });
    let drawn = curves
        .iter()
        .any(|curves| curves.pv.values(shown).next().is_some());
    // Room above and below for the labels.
    let room = (0.09 * (high - low)).max(0.5);
    drawn.then_some((low - room, high + room))
}

/// As much about the target as the larger overshoot, or three bands if that is more.
fn target_range(comparison: &Comparison<'_>) -> Option<(f64, f64)> {
    let (target, band) = target_and_band(comparison.after)?;
    let overshoot = comparison
        .sides()
        .iter()
        .filter_map(|side| side.episode.numbers.overshoot)
        .fold(0.0, f64::max);
    let reach = (1.25 * overshoot).max(3.0 * band);
    Some((target - reach, target + reach))
}

fn write_path(svg: &mut Markup, class: &str, lines: &[Vec<Point>]) {
    let data = path(lines);
    if !data.is_empty() {
        svg.leaf("path", &[("class", &class), ("d", &data)]);
    }
}

/// A dot at the anchor, the text in the nearest free place, and a line between them if it is far.
fn draw_wish(svg: &mut Markup, wish: &Wish, taken: &mut Occupied, size: Size) {
    let height = size.font + 2.0;
    let width = text_width(&wish.text, size.font) * if wish.bold { 1.06 } else { 1.0 };
    let Some(place) = taken.find(wish.anchor, width, height) else {
        return;
    };
    taken.take(place);
    let class = wish.class;
    if wish.dot {
        let (x, y) = (Px(wish.anchor.0), Px(wish.anchor.1));
        svg.leaf(
            "circle",
            &[
                ("class", &format!("dot {class}")),
                ("cx", &x),
                ("cy", &y),
                ("r", &"3.5"),
            ],
        );
    }
    let near = place.nearest(wish.anchor);
    if (near.0 - wish.anchor.0).hypot(near.1 - wish.anchor.1) > 14.0 && wish.dot {
        let d = path(&[vec![wish.anchor, near]]);
        svg.leaf("path", &[("class", &format!("leader {class}")), ("d", &d)]);
    }
    let bold = if wish.bold { " bold" } else { "" };
    let text_class = format!("label middle {class}{bold}");
    let middle = place.left + place.width / 2.0;
    write_at(
        svg,
        &text_class,
        middle,
        place.top + height - 4.0,
        &wish.text,
    );
}

fn axis_title(unit: &str) -> String {
    if unit.is_empty() {
        "process value".to_owned()
    } else {
        format!("process value, {unit}")
    }
}
