//! Before and after over each other, from the moment of the step.

use super::curve::{Between, Curve, path};
use super::decimate::Point;
use super::label::Occupied;
use super::panel::Panel;
use super::range::{shown_s, target_and_band, target_range, whole_range};
use super::scale::{Scale, TimeTicks, time_ticks};
use super::size::{self, BELOW, BETWEEN, Caption, Size, TOP};
use super::wish::Wish;
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
    pub(super) comparison: &'a Comparison<'a>,
    pub(super) curves: [SideCurves<'a>; 2],
    /// Seconds since the step, from and to.
    pub(super) shown: (f64, f64),
    values: (f64, f64),
    pub(super) decimals: usize,
    zoom: Zoom,
}

/// One side's columns.
pub(super) struct SideCurves<'a> {
    pub(super) side: Side<'a>,
    /// `before` or `after`: the word in the picture and the class of its lines.
    pub(super) word: &'static str,
    pub(super) pv: Curve,
    pub(super) setpoint: Curve,
    output: Option<Curve>,
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

    /// Whether a gap in the data is shaded.
    pub(in crate::evidence) fn has_gaps(&self) -> bool {
        let panel = self.main_panel(size::WIDE);
        self.curves
            .iter()
            .any(|curves| !self.wide_gaps(curves, &panel).is_empty())
    }

    /// Gaps that can be seen, in seconds. A lost poll or two needs no mark; the notes count them.
    fn wide_gaps(&self, curves: &SideCurves<'_>, panel: &Panel) -> Vec<(f64, f64)> {
        let mut gaps = curves.pv.gaps(self.shown);
        gaps.retain(|(from, to)| panel.x.at(*to) - panel.x.at(*from) >= 3.0);
        gaps
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
            for (from, to) in self.wide_gaps(curves, panel) {
                let (left, right) = (panel.x.at(from), panel.x.at(to));
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
                    texts: vec![curves.word.to_owned()],
                    class: curves.word,
                    bold: false,
                    dot: false,
                };
                wish.draw(svg, &mut taken, size);
            }
        }
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

fn write_path(svg: &mut Markup, class: &str, lines: &[Vec<Point>]) {
    let data = path(lines);
    if !data.is_empty() {
        svg.leaf("path", &[("class", &class), ("d", &data)]);
    }
}

fn axis_title(unit: &str) -> String {
    if unit.is_empty() {
        "process value".to_owned()
    } else {
        format!("process value, {unit}")
    }
}
