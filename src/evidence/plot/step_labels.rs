//! What is written into the picture of two steps.

use std::fmt::Write as _;

use super::curve::Between;
use super::label::Occupied;
use super::panel::Panel;
use super::range::target_and_band;
use super::size::{self, Size};
use super::step::{SideCurves, StepPicture};
use super::wish::Wish;
use crate::evidence::format;
use crate::evidence::markup::Markup;

impl StepPicture<'_> {
    /// Writes every label that finds room.
    pub(super) fn draw_labels(&self, svg: &mut Markup, panel: &Panel, size: Size) {
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
            wish.draw(svg, &mut taken, size);
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
        let word = curves.word.to_owned();
        let peak = self.peak(curves);
        let dot = peak.is_some();
        let (time, texts) = match peak {
            Some((time, height)) => (time, vec![format!("{word} {height}"), height, word]),
            None => (self.where_apart(curves.word)?, vec![word]),
        };
        let value = curves.pv.value_at(time)?;
        Some(Wish {
            anchor: (panel.x.at(time), panel.y.at(value)),
            texts,
            class: curves.word,
            bold: true,
            dot,
        })
    }

    /// When the curve was farthest past the target, and how far, as text.
    fn peak(&self, curves: &SideCurves<'_>) -> Option<(f64, String)> {
        let numbers = &curves.side.episode.numbers;
        let over = numbers.overshoot.filter(|over| *over > 0.0)?;
        let time = numbers.peak_s.filter(|time| self.is_shown(*time))?;
        let above = curves.pv.value_at(time)? >= curves.side.episode.to?;
        let height = format::signed(if above { over } else { -over }, self.decimals);
        let unit = format::unit_sign(self.comparison.unit());
        Some((time, format::with_unit(&height, unit)))
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
        let mut texts = vec![format!("in band after {span}"), span];
        if size.key == size::NARROW.key {
            texts.remove(0);
        }
        Some(Wish {
            anchor: (panel.x.at(at), panel.y.at(value)),
            texts,
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
            texts: vec![
                format!("setpoint {} \u{b1} {band}", format::fixed(target, decimals)),
                "setpoint".to_owned(),
            ],
            class: "plain",
            bold: false,
            dot: false,
        })
    }

    fn is_shown(&self, time: f64) -> bool {
        (self.shown.0..=self.shown.1).contains(&time)
    }

    /// The picture in words.
    pub(super) fn description(&self) -> String {
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
