//! From raw value to value: scale, decimals, unit, valid range, "off".

use std::sync::Arc;

use rust_decimal::Decimal;
use rust_decimal::prelude::ToPrimitive;
use serde_json::{Value, json};

use super::keys::{DECIMALS_FROM_OR_OFFSET, DECIMALS_OR_OFFSET, Point as Keys, SCALES, UNITS};
use crate::map::column::plain_unit;
use crate::map::model::{Encoding, Scaling, UnitOf};
use crate::map::raw::Shape;
use crate::spanned::{AnyKey, Item, Kind, Section};
use crate::unit::Degrees;

/// Every key that says how a raw value becomes a value.
pub(super) const SCALING: [&dyn AnyKey; 4] = [
    &Keys::SCALE,
    &Keys::DECIMALS,
    &Keys::DECIMALS_FROM,
    &Keys::OFFSET,
];

/// Reads `scale`, `offset`, `decimals` and `decimals_from`.
pub(super) fn scaling(section: &Section<'_>, shape: Option<Shape>) -> Option<Scaling> {
    let scale = section.read(&Keys::SCALE);
    let offset = section.read(&Keys::OFFSET);
    let decimals = section.read(&Keys::DECIMALS);
    let decimals_from = section.read(&Keys::DECIMALS_FROM);
    if contradicts(section, shape) {
        return None;
    }
    if section.has(&Keys::DECIMALS_FROM) {
        return decimals_from.map(Scaling::DecimalsFrom);
    }
    if section.has(&Keys::DECIMALS) {
        return decimals.map(|decimals| Scaling::Decimals(decimals as u8));
    }
    let is_wrong = scale.is_none() && section.has(&Keys::SCALE)
        || offset.is_none() && section.has(&Keys::OFFSET);
    let scaling = Scaling::Linear {
        scale: scale.unwrap_or(Decimal::ONE),
        offset: offset.unwrap_or(Decimal::ZERO),
    };
    (!is_wrong).then_some(scaling)
}

/// A number other than 0.
#[derive(Clone, Copy, Debug)]
pub(super) struct Factor;

impl Kind for Factor {
    type Value<'a> = Decimal;

    fn read(&self, item: &Item<'_>) -> Option<Decimal> {
        let scale = item.decimal()?;
        if scale.is_zero() {
            let help = "every value would be the same; write the factor, for example scale = 0.1";
            item.note("'scale' cannot be 0", help);
            return None;
        }
        Some(scale)
    }

    fn schema(&self) -> Value {
        json!({ "type": "number", "not": { "const": 0 } })
    }
}

fn contradicts(section: &Section<'_>, shape: Option<Shape>) -> bool {
    let contradictory = [&SCALES, &DECIMALS_OR_OFFSET, &DECIMALS_FROM_OR_OFFSET];
    if contradictory.iter().any(|among| section.contradicts(among)) {
        return true;
    }
    let is_bit = shape.is_some_and(|shape| shape.width() == 1);
    if let (true, Some(item)) = (is_bit, SCALING.iter().find_map(|key| section.get(*key))) {
        let what = format!("a single bit is 0 or 1 and has no '{}'", item.key());
        item.note_key_structure(&what, "leave it out, or check the encoding");
        return true;
    }
    false
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
        if let Some(item) = SCALING.iter().find_map(|key| section.get(*key)) {
            item.note_key_structure(what, help);
        }
    }
}

/// Reads `unit` and `unit_from`.
pub(super) fn unit(section: &Section<'_>) -> Option<UnitOf> {
    let fixed = section.read(&Keys::UNIT);
    let from = section.read(&Keys::UNIT_FROM);
    if section.contradicts(&UNITS) {
        return None;
    }
    match (section.has(&Keys::UNIT), section.has(&Keys::UNIT_FROM)) {
        (true, _) => fixed.map(UnitOf::Fixed),
        (_, true) => from.map(UnitOf::From),
        (false, false) => Some(UnitOf::None),
    }
}

/// Reads `limits_in`, which has a meaning only where the unit can be switched.
pub(super) fn limits_in(section: &Section<'_>) -> Option<Degrees> {
    let limits_in = section.read(&Keys::LIMITS_IN);
    if let Some(item) = section.get(&Keys::LIMITS_IN)
        && !section.has(&Keys::UNIT_FROM)
    {
        let what =
            "'limits_in' goes with 'unit_from': without it limits are in the point's own unit";
        item.note_key_structure(what, "leave it out");
    }
    limits_in
}

/// A unit, in the spelling the program uses.
#[derive(Clone, Copy, Debug)]
pub(super) struct UnitText;

impl Kind for UnitText {
    type Value<'a> = Arc<str>;

    fn read(&self, item: &Item<'_>) -> Option<Arc<str>> {
        let text = item.text()?;
        if text.trim().is_empty() || text.chars().any(char::is_control) {
            let help = "write degC, degF, K, %, s, min or another text, or leave it out";
            item.note(&format!("{text:?} is no unit"), help);
            return None;
        }
        Some(plain_unit(text).into())
    }

    fn schema(&self) -> Value {
        json!({ "type": "string", "pattern": r"\S" })
    }
}

/// Reads `off`, which must be a valid value.
pub(super) fn off(section: &Section<'_>, valid: Option<(f64, f64)>) -> Option<Decimal> {
    let off = section.read(&Keys::OFF)?;
    let value = off.to_f64()?;
    match valid {
        Some((low, high)) if !(low..=high).contains(&value) => {
            let what = format!("'off' {off} is outside the valid range {low} to {high}");
            let help = "it would read as a fault: widen 'valid' or correct 'off'";
            section.note_at(&Keys::OFF, &what, help);
            None
        }
        _ => Some(off),
    }
}
