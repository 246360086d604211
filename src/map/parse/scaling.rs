//! From raw value to value: scale, decimals, unit, valid range, "off".

use std::sync::Arc;

use rust_decimal::Decimal;
use rust_decimal::prelude::ToPrimitive;

use crate::map::column::plain_unit;
use crate::map::decode::MOST_DECIMALS;
use crate::map::model::{Encoding, Scaling, UnitOf};
use crate::map::raw::Shape;
use crate::spanned::{Item, Section};

/// Reads `scale`, `offset`, `decimals` and `decimals_from`.
pub(super) fn scaling(section: &Section<'_>, shape: Option<Shape>) -> Option<Scaling> {
    let scale = section.read("scale", scale);
    let offset = section.read("offset", Item::decimal);
    let decimals = section.read("decimals", |item| item.whole(0..=MOST_DECIMALS.into()));
    let decimals_from = section.read("decimals_from", Item::name);
    if contradicts(section, shape) {
        return None;
    }
    if section.has("decimals_from") {
        return decimals_from.map(Scaling::DecimalsFrom);
    }
    if section.has("decimals") {
        return decimals.map(|decimals| Scaling::Decimals(decimals as u8));
    }
    let is_wrong =
        scale.is_none() && section.has("scale") || offset.is_none() && section.has("offset");
    let scaling = Scaling::Linear {
        scale: scale.unwrap_or(Decimal::ONE),
        offset: offset.unwrap_or(Decimal::ZERO),
    };
    (!is_wrong).then_some(scaling)
}

fn scale(item: &Item<'_>) -> Option<Decimal> {
    let scale = item.decimal()?;
    if scale.is_zero() {
        let help = "every value would be the same; write the factor, for example scale = 0.1";
        item.note("'scale' cannot be 0", help);
        return None;
    }
    Some(scale)
}

fn contradicts(section: &Section<'_>, shape: Option<Shape>) -> bool {
    let present: Vec<&'static str> = ["scale", "decimals", "decimals_from", "offset"]
        .into_iter()
        .filter(|key| section.has(key))
        .collect();
    let pair = match present.as_slice() {
        [first @ ("scale" | "decimals" | "decimals_from"), second, ..] => Some((*first, *second)),
        _ => None,
    };
    if let Some((first, second)) = pair.filter(|pair| *pair != ("scale", "offset")) {
        let what = format!("'{first}' and '{second}' contradict each other");
        let help = "keep one of scale (with offset), decimals and decimals_from";
        note_key(section, second, &what, help);
        return true;
    }
    let is_bit = shape.is_some_and(|shape| shape.width() == 1);
    if let (true, Some(key)) = (is_bit, present.first()) {
        let what = format!("a single bit is 0 or 1 and has no '{key}'");
        note_key(section, key, &what, "leave it out, or check the encoding");
        return true;
    }
    false
}

fn note_key(section: &Section<'_>, key: &'static str, what: &str, help: &str) {
    if let Some(item) = section.get(key) {
        item.note_key_structure(what, help);
    }
}

/// Notes a scale under which the largest raw values could not be kept exactly.
pub(super) fn check_exactness(section: &Section<'_>, scaling: &Scaling, shape: Shape) {
    let Scaling::Linear { scale, offset } = scaling else {
        return;
    };
    let largest = match shape.encoding {
        Encoding::U64 | Encoding::I64 => Decimal::from(u64::MAX),
        _ => Decimal::from(u32::MAX),
    };
    let product = largest.checked_mul(*scale);
    let is_exact = product.is_some_and(|product| {
        product.scale() == scale.scale()
            && product
                .checked_add(*offset)
                .is_some_and(|sum| sum.scale() == scale.scale().max(offset.scale()))
    });
    if !is_exact && !shape.is_float() {
        let what = "scale and offset have too many digits for this encoding";
        let help = "together with the raw value 28 digits can be kept: round the scale";
        note_key(
            section,
            if section.has("scale") {
                "scale"
            } else {
                "offset"
            },
            what,
            help,
        );
    }
}

/// Reads `unit` and `unit_from`.
pub(super) fn unit(section: &Section<'_>) -> Option<UnitOf> {
    let fixed = section.read("unit", unit_text);
    let from = section.read("unit_from", Item::name);
    match (section.has("unit"), section.has("unit_from")) {
        (true, true) => {
            let what = "'unit' and 'unit_from' contradict each other";
            let help = "keep unit where it never changes, unit_from where a point gives it";
            note_key(section, "unit_from", what, help);
            None
        }
        (true, false) => fixed.map(UnitOf::Fixed),
        (false, true) => from.map(UnitOf::From),
        (false, false) => Some(UnitOf::None),
    }
}

fn unit_text(item: &Item<'_>) -> Option<Arc<str>> {
    let text = item.text()?;
    if text.trim().is_empty() || text.chars().any(char::is_control) {
        let help = "write degC, degF, K, %, s, min or another text, or leave it out";
        item.note(&format!("{text:?} is no unit"), help);
        return None;
    }
    Some(plain_unit(text).into())
}

/// Reads `valid`.
pub(super) fn valid(section: &Section<'_>) -> Option<(f64, f64)> {
    section.read("valid", Item::span_of_numbers)
}

/// Reads `off`, which must be a valid value.
pub(super) fn off(section: &Section<'_>, valid: Option<(f64, f64)>) -> Option<Decimal> {
    let item = section.get("off")?;
    let off = item.decimal()?;
    let value = off.to_f64()?;
    match valid {
        Some((low, high)) if !(low..=high).contains(&value) => {
            let what = format!("'off' {off} is outside the valid range {low} to {high}");
            item.note_structure(
                &what,
                "it would read as a fault: widen 'valid' or correct 'off'",
            );
            None
        }
        _ => Some(off),
    }
}
