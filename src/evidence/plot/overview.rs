//! A whole record on one time axis: where the steps and the autotunes are, and what happened when.

use std::fmt::Write as _;

use super::curve::{Between, Curve, path};
use super::panel::{Panel, write_at};
use super::scale::{Scale, time_ticks};
use super::size::{self, BELOW, Caption, Size, TOP};
use crate::evidence::format;
use crate::evidence::markup::{Markup, Px};
use crate::record::LoopRecord;

/// What an overview shows.
pub(in crate::evidence) struct Overview<'a> {
    /// Unique among the pictures of a page.
    pub(in crate::evidence) key: &'a str,
    /// The record.
    pub(in crate::evidence) record: &'a LoopRecord,
    /// The steps, with the word for each, from and to in the record's seconds.
    pub(in crate::evidence) steps: &'a [(&'a str, f64, f64)],
    /// Numbered events, in the record's seconds.
    pub(in crate::evidence) events: &'a [(usize, f64)],
}

/// Writes the picture, in both sizes; nothing for a record without samples.
pub(in crate::evidence) fn overview(page: &mut Markup, of: &Overview<'_>) {
    let (Some(first), Some(last)) = (of.record.time_s.first(), of.record.time_s.last()) else {
        return;
    };
    let shown = (first.min(0.0), last.max(first + 1.0));
    let pv = Curve::new(&of.record.time_s, &of.record.pv, 0.0, shown);
    let setpoint = of
        .record
        .setpoint
        .as_deref()
        .map(|values| Curve::new(&of.record.time_s, values, 0.0, shown));
    let all = pv
        .values(shown)
        .chain(setpoint.iter().flat_map(|curve| curve.values(shown)));
    let (low, high) = all.fold((f64::INFINITY, f64::NEG_INFINITY), |(low, high), value| {
        (low.min(value), high.max(value))
    });
    let room = (0.12 * (high - low)).max(0.5);
    let picture = Picture {
        of,
        shown,
        values: (low - room, high + room),
        pv,
        setpoint,
    };
    picture.write(page);
}

struct Picture<'a> {
    of: &'a Overview<'a>,
    shown: (f64, f64),
    values: (f64, f64),
    pv: Curve,
    setpoint: Option<Curve>,
}

impl Picture<'_> {
    fn write(&self, page: &mut Markup) {
        let title = format!("The whole record of {}", self.of.record.name);
        let caption = Caption {
            key: self.of.key,
            title: &title,
            description: &self.description(),
        };
        let height = |size: Size| TOP + 0.6 * size.main + BELOW;
        size::both(page, &caption, height, |svg, size| self.draw(svg, size));
    }

    fn draw(&self, svg: &mut Markup, size: Size) {
        let panel = Panel {
            x: Scale {
                values: self.shown,
                pixels: (size.left, size.right),
            },
            y: Scale {
                values: self.values,
                pixels: (TOP + 0.6 * size.main, TOP),
            },
        };
        let marks = time_ticks(self.shown.0, self.shown.1, size.time_marks);
        panel.time_grid(svg, &marks);
        panel.value_axis(svg, size.value_marks / 2 + 1);
        for (from, to) in self.autotunes() {
            self.stretch(svg, &panel, "tune", "autotune", (from, to));
        }
        for (word, from, to) in self.of.steps {
            self.stretch(svg, &panel, &format!("stretch {word}"), word, (*from, *to));
        }
        if let Some(setpoint) = &self.setpoint {
            let lines = setpoint.lines(&panel, Between::Held);
            svg.leaf("path", &[("class", &"setpoint"), ("d", &path(&lines))]);
        }
        let lines = self.pv.lines(&panel, Between::Straight);
        svg.leaf(
            "path",
            &[("class", &"curve thin plain"), ("d", &path(&lines))],
        );
        self.numbers(svg, &panel);
        let title = format!("{} since the record began", marks.unit);
        panel.time_labels(svg, &marks, &title);
    }

    fn stretch(
        &self,
        svg: &mut Markup,
        panel: &Panel,
        class: &str,
        word: &str,
        (from, to): (f64, f64),
    ) {
        let (left, right) = (
            panel.x.at(from.clamp(self.shown.0, self.shown.1)),
            panel.x.at(to.clamp(self.shown.0, self.shown.1)),
        );
        svg.leaf(
            "rect",
            &[
                ("class", &class),
                ("x", &Px(left)),
                ("y", &Px(panel.top())),
                ("width", &Px((right - left).max(1.0))),
                ("height", &Px(panel.bottom() - panel.top())),
            ],
        );
        let label = format!("label {class}");
        write_at(svg, &label, left, panel.top() - 8.0, word);
    }

    /// The numbers of the events along the lower edge; those without room are left to the table.
    fn numbers(&self, svg: &mut Markup, panel: &Panel) {
        let mut free_from = f64::NEG_INFINITY;
        for (number, time) in self.of.events {
            let x = panel.x.at(*time);
            if x < free_from || x < panel.left() || x > panel.right() {
                continue;
            }
            free_from = x + 20.0;
            let d = format!("M{} {}v8", Px(x), Px(panel.bottom() - 8.0));
            svg.leaf("path", &[("class", &"mark"), ("d", &d)]);
            let label = number.to_string();
            write_at(svg, "label middle mark", x, panel.bottom() - 12.0, &label);
        }
    }

    fn autotunes(&self) -> Vec<(f64, f64)> {
        let Some(active) = &self.of.record.autotune else {
            return Vec::new();
        };
        let times = &self.of.record.time_s;
        let rows: Vec<(&f64, &bool)> = times.iter().zip(active).collect();
        rows.chunk_by(|a, b| a.1 == b.1)
            .filter(|stretch| *stretch[0].1)
            .map(|stretch| (*stretch[0].0, *stretch[stretch.len() - 1].0))
            .collect()
    }

    fn description(&self) -> String {
        let length = format::span(self.shown.1 - self.shown.0);
        let steps: Vec<&str> = self.of.steps.iter().map(|(word, _, _)| *word).collect();
        let mut text = format!("Process value and setpoint over {length}");
        if !steps.is_empty() {
            let marked = format::list(&steps);
            let _ = write!(text, "; the step {marked} is shaded");
        }
        if !self.autotunes().is_empty() {
            text.push_str("; the autotune is shaded");
        }
        text.push('.');
        text
    }
}
