//! From values to words: the inverse of decoding.

use rust_decimal::Decimal;
use rust_decimal::prelude::ToPrimitive;

use super::decode::NoScale;
use super::image::Image;
use super::model::{Encoding, Map, Point};
use super::scale::Scale;
use crate::number::Number;

/// Why a value cannot be put into a point's registers.
#[derive(Clone, Debug, PartialEq, Eq, thiserror::Error)]
pub enum NotEncodable {
    /// It lies between two raw values.
    #[error("{value} has more decimals than the controller keeps here")]
    TooFine {
        /// The value.
        value: String,
    },
    /// It is outside what the registers hold.
    #[error("{value} does not fit the registers ({encoding})")]
    TooLarge {
        /// The value.
        value: String,
        /// The encoding's word.
        encoding: &'static str,
    },
    /// The point that gives the number of decimals has no value.
    #[error("the number of decimals is not known: the point that gives it has no value")]
    DecimalsUnknown,
    /// The word it is a part of has not been read.
    #[error("the rest of the word is not known: it has not been read")]
    WordUnknown,
}

impl Map {
    /// The words that say `value`, so that reading them gives `value` again.
    ///
    /// The image gives the number of decimals where another point does, and the rest of the word
    /// where the point is a part of one.
    ///
    /// # Errors
    ///
    /// [`NotEncodable`] when no raw value says exactly this.
    pub fn encode(
        &self,
        point: &Point,
        value: Number,
        image: &Image,
    ) -> Result<Vec<u16>, NotEncodable> {
        let scale = match self.scale(point, image) {
            Ok(scale) => scale,
            Err(NoScale::Absent(_) | NoScale::Fault(_)) => {
                return Err(NotEncodable::DecimalsUnknown);
            }
        };
        let raw = point.raw_of(value, scale)?;
        let Some(bits) = point.bits else {
            return Ok(point.split(raw));
        };
        let words = image.raw(&point.place).ok_or(NotEncodable::WordUnknown)?;
        Ok(point.split(bits.put(point.join(&words), raw)))
    }
}

impl Point {
    /// The raw value that stands for `value`.
    pub(super) fn raw_of(&self, value: Number, scale: Scale) -> Result<u64, NotEncodable> {
        match self.encoding {
            Encoding::F32 if self.bits.is_none() => {
                let single = match unscaled_float(value, scale) {
                    Number::Single(single) => single,
                    other => other.as_f64() as f32,
                };
                finite(single.is_finite(), single.to_bits().into(), self, value)
            }
            Encoding::F64 if self.bits.is_none() => {
                let double = unscaled_float(value, scale).as_f64();
                finite(double.is_finite(), double.to_bits(), self, value)
            }
            _ => {
                let raw = unscaled(value, scale).ok_or_else(|| self.too_fine(value))?;
                self.shape()
                    .unsigned(raw)
                    .ok_or_else(|| self.too_large(value))
            }
        }
    }

    fn too_fine(&self, value: Number) -> NotEncodable {
        match value.as_decimal() {
            Some(_) => NotEncodable::TooFine {
                value: value.to_string(),
            },
            None => self.too_large(value),
        }
    }

    fn too_large(&self, value: Number) -> NotEncodable {
        NotEncodable::TooLarge {
            value: value.to_string(),
            encoding: self.encoding.word(),
        }
    }
}

fn finite(is_finite: bool, raw: u64, point: &Point, value: Number) -> Result<u64, NotEncodable> {
    is_finite
        .then_some(raw)
        .ok_or_else(|| point.too_large(value))
}

/// The whole raw number that `value` is scaled from; `None` when there is none.
fn unscaled(value: Number, scale: Scale) -> Option<i128> {
    let value = value.as_decimal()?;
    let raw = match scale {
        Scale::Linear { scale, offset } => value.checked_sub(offset)?.checked_div(scale)?,
        Scale::Decimals(decimals) => {
            value.checked_mul(Decimal::from(10_u64.pow(decimals.into())))?
        }
    };
    raw.is_integer().then(|| raw.to_i128()).flatten()
}

/// The number a scaled float register has to hold for `value`.
fn unscaled_float(value: Number, scale: Scale) -> Number {
    let Scale::Linear { scale, offset } = scale else {
        return value;
    };
    if scale == Decimal::ONE && offset.is_zero() {
        return value;
    }
    value
        .as_decimal()
        .and_then(|value| value.checked_sub(offset))
        .and_then(|difference| difference.checked_div(scale))
        .map_or_else(|| unscaled_double(value, scale, offset), Number::Decimal)
}

fn unscaled_double(value: Number, scale: Decimal, offset: Decimal) -> Number {
    let (scale, offset) = (scale.to_f64(), offset.to_f64());
    let difference = value.as_f64() - offset.unwrap_or(f64::NAN);
    Number::Double(difference / scale.unwrap_or(f64::NAN))
}
