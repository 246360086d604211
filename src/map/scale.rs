//! Scaling: from a raw number to the number it stands for, or what is impossible about it.

use std::num::FpCategory;
use std::str::FromStr;
use std::sync::Arc;

use rust_decimal::prelude::{FromPrimitive, ToPrimitive};
use rust_decimal::{Decimal, RoundingStrategy};

use super::model::Scaling;
use crate::number::Number;

/// How the raw value of a point is scaled, with every other point it depends on read.
#[derive(Clone, Copy, Debug)]
pub(super) enum Scale {
    Linear { scale: Decimal, offset: Decimal },
    Decimals(u8),
}

impl Scaling {
    /// The scale, where it does not depend on another point.
    pub(super) fn fixed(&self) -> Option<Scale> {
        match self {
            Self::Linear { scale, offset } => Some(Scale::Linear {
                scale: *scale,
                offset: *offset,
            }),
            Self::Decimals(decimals) => Some(Scale::Decimals(*decimals)),
            Self::DecimalsFrom(_) => None,
        }
    }
}

/// A whole raw value, scaled exactly.
pub(super) fn whole_scaled(raw: i128, scale: Scale) -> Result<Decimal, Arc<str>> {
    match scale {
        Scale::Decimals(decimals) => Decimal::try_from_i128_with_scale(raw, decimals.into()).ok(),
        Scale::Linear { scale, offset } => Decimal::from_i128(raw)
            .and_then(|raw| raw.checked_mul(scale))
            .and_then(|product| product.checked_add(offset))
            .map(|value| with_decimals(value, scale.scale().max(offset.scale()))),
    }
    .map(without_negative_zero)
    .ok_or_else(|| "a number too large for this scale".into())
}

/// The decimal library forgets the decimals of a zero: 0.0 stays 0.0.
fn with_decimals(mut value: Decimal, decimals: u32) -> Decimal {
    if value.is_zero() {
        value.rescale(decimals);
    }
    value
}

/// The value of a 32-bit floating-point register.
pub(super) fn single(value: f32, scale: Scale) -> Result<Number, Arc<str>> {
    check_finite(value.classify())?;
    // Adding zero makes a negative zero a plain one.
    float(Number::Single(value + 0.0), scale)
}

/// The value of a 64-bit floating-point register.
pub(super) fn double(value: f64, scale: Scale) -> Result<Number, Arc<str>> {
    check_finite(value.classify())?;
    float(Number::Double(value + 0.0), scale)
}

fn check_finite(kind: FpCategory) -> Result<(), Arc<str>> {
    match kind {
        FpCategory::Nan => Err("not a number".into()),
        FpCategory::Infinite => Err("an infinite number".into()),
        FpCategory::Zero | FpCategory::Subnormal | FpCategory::Normal => Ok(()),
    }
}

/// A floating-point register: as it is when nothing is to be done to it, else by way of the decimal
/// a person sees (an `f32` 25.3 is 25.3, not the binary tail behind it).
fn float(value: Number, scale: Scale) -> Result<Number, Arc<str>> {
    match scale {
        Scale::Linear { scale, offset } if scale == Decimal::ONE && offset.is_zero() => Ok(value),
        Scale::Linear { scale, offset } => value
            .as_decimal()
            .and_then(|value| value.checked_mul(scale))
            .and_then(|product| product.checked_add(offset))
            .map(|decimal| Number::Decimal(without_negative_zero(decimal)))
            .map_or_else(|| double_scaled(value.as_f64(), scale, offset), Ok),
        // A number too large for an exact decimal has no decimals to round away.
        Scale::Decimals(decimals) => Ok(Decimal::from_str(&value.to_string())
            .map_or(value, |decimal| Number::Decimal(rounded(decimal, decimals)))),
    }
}

/// For numbers too large or too small for an exact decimal.
fn double_scaled(value: f64, scale: Decimal, offset: Decimal) -> Result<Number, Arc<str>> {
    let (scale, offset) = (scale.to_f64(), offset.to_f64());
    let scaled = value * scale.unwrap_or(f64::NAN) + offset.unwrap_or(f64::NAN);
    scaled
        .is_finite()
        .then_some(Number::Double(scaled))
        .ok_or_else(|| "a number too large for this scale".into())
}

fn rounded(value: Decimal, decimals: u8) -> Decimal {
    let places = u32::from(decimals);
    let mut rounded = value.round_dp_with_strategy(places, RoundingStrategy::MidpointAwayFromZero);
    rounded.rescale(places);
    without_negative_zero(rounded)
}

fn without_negative_zero(mut decimal: Decimal) -> Decimal {
    if decimal.is_zero() {
        decimal.set_sign_positive(true);
    }
    decimal
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn a_zero_keeps_its_decimals() {
        let scale = Scale::Linear {
            scale: Decimal::new(1, 1),
            offset: Decimal::ZERO,
        };
        let shown = [-1, 0, 253].map(|raw| whole_scaled(raw, scale).unwrap().to_string());
        assert_eq!(shown, ["-0.1", "0.0", "25.3"]);
    }
}
