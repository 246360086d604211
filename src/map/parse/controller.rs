//! What the map says about the controller as a whole: `[tuning]`, `[autotune]`, `[unlock]`,
//! `[persist]`, `[on_lost_communication]`.

use super::point::{Entry, Points};
use crate::map::model::{AutotuneHabit, LostOutput, Proportional, Scaling, TuningForm, Written};
use crate::map::scale::Scale;
use crate::number::Number;
use crate::spanned::{Item, Section};

/// Reads `[tuning]`.
pub(super) fn tuning(file: &Section<'_>) -> Option<TuningForm> {
    let section = file.section("tuning", "[tuning]")?;
    let help = "say how the controller understands it; its manual names the form";
    let form = section.require("form", help, Item::word);
    let proportional = section.require("proportional", help, Item::word);
    let span = section.read("span", Item::span_of_numbers);
    let integral = section.require("integral", help, Item::word);
    let derivative = section.require("derivative", help, Item::word);
    section.finish();
    if proportional == Some(Proportional::BandPercent) && !section.has("span") {
        let help = "add span = [lowest, highest] of the input, for example [0.0, 800.0]";
        section.note_structure(
            "a band in percent needs the 'span' it is a percentage of",
            help,
        );
    }
    Some(TuningForm {
        form: form?,
        proportional: proportional?,
        span,
        integral: integral?,
        derivative: derivative?,
    })
}

/// Reads `[autotune]`.
pub(super) fn autotune(file: &Section<'_>) -> Option<AutotuneHabit> {
    let section = file.section("autotune", "[autotune]")?;
    let help = "say how often it usually swings about the setpoint, for example swings = 3";
    let swings = section.require("swings", help, |item| item.whole(1..=50));
    let help = "say tunes_at = \"setpoint\", \"below-setpoint\" or \"on-approach\"";
    let tunes_at = section.require("tunes_at", help, Item::word);
    section.finish();
    Some(AutotuneHabit {
        swings: swings? as u8,
        tunes_at: tunes_at?,
    })
}

/// Reads `[on_lost_communication]`.
pub(super) fn on_lost_communication(file: &Section<'_>) -> LostOutput {
    let Some(section) = file.section("on_lost_communication", "[on_lost_communication]") else {
        return LostOutput::default();
    };
    let output = section.read("output", Item::word);
    section.finish();
    output.unwrap_or_default()
}

/// Reads `[unlock]`: what is written before a change, and after.
pub(super) fn unlock(file: &Section<'_>, points: &Points<'_>) -> (Vec<Written>, Vec<Written>) {
    let Some(section) = file.section("unlock", "[unlock]") else {
        return Default::default();
    };
    let read = |key| {
        section
            .read(key, |item| written(item, points))
            .unwrap_or_default()
    };
    let found = (read("before"), read("after"));
    section.finish();
    found
}

/// Reads `[persist]`: what is written to keep changes over power-off.
pub(super) fn persist(file: &Section<'_>, points: &Points<'_>) -> Vec<Written> {
    let Some(section) = file.section("persist", "[persist]") else {
        return Vec::new();
    };
    let found = section.read("write", |item| written(item, points));
    section.finish();
    found.unwrap_or_default()
}

fn written(item: &Item<'_>, points: &Points<'_>) -> Option<Vec<Written>> {
    let items = item.list()?;
    Some(
        items
            .iter()
            .filter_map(|item| one_written(item, points))
            .collect(),
    )
}

fn one_written(item: &Item<'_>, points: &Points<'_>) -> Option<Written> {
    let section = item.listed_section()?;
    let help = "write { point = \"lock\", value = 0 }";
    let named = section.require("point", help, |item| Some(item.clone()));
    let value = section.require("value", help, Item::decimal);
    section.finish();
    let (named, value) = (named?, value?);
    let name = named.name()?;
    if let Some(entry) = points.named(&named) {
        check_written(&section, entry, Number::Decimal(value));
    }
    Some(Written { point: name, value })
}

fn check_written(section: &Section<'_>, entry: &Entry<'_>, value: Number) {
    let point = &entry.point;
    if point.write.is_none() && !point.place.table.is_writable() {
        let what = format!("table {:?} cannot be written", point.place.table.word());
        section.note_structure(&what, "name a point in table holding or coil");
    }
    let scale = match &point.scaling {
        Scaling::Linear { scale, offset } => Scale::Linear {
            scale: *scale,
            offset: *offset,
        },
        Scaling::Decimals(decimals) => Scale::Decimals(*decimals),
        // How many decimals there will be is known on the line only.
        Scaling::DecimalsFrom(_) => return,
    };
    if let (Err(problem), Some(item)) = (point.raw_of(value, scale), section.get("value")) {
        item.note_structure(
            &problem.to_string(),
            "check the value and the point's scale",
        );
    }
}
