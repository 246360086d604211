//! A value as the controller gave it, with the decimals its map gives and never more.

use std::fmt;

use rust_decimal::Decimal;
use rust_decimal::prelude::ToPrimitive;

/// One number read from a controller.
///
/// Scaled integers stay exact decimals (25.3 is never 25.300000000000001); floating-point registers
/// keep their own width, so that an `f32` prints as the shortest text that gives the same `f32`.
///
/// ```
/// use emberline::number::Number;
/// use rust_decimal::Decimal;
/// assert_eq!(Number::Decimal(Decimal::new(253, 1)).to_string(), "25.3");
/// assert_eq!(Number::Single(25.3).to_string(), "25.3");
/// ```
#[derive(Clone, Copy, Debug, PartialEq)]
pub enum Number {
    /// An exact decimal with its own number of decimals.
    Decimal(Decimal),
    /// A 32-bit float, always finite.
    Single(f32),
    /// A 64-bit float, always finite.
    Double(f64),
}

impl Number {
    /// The decimal a person sees; `None` for a float beyond what a decimal holds.
    pub fn as_decimal(self) -> Option<Decimal> {
        match self {
            Self::Decimal(decimal) => Some(decimal),
            float => Decimal::from_str_exact(&float.to_string()).ok(),
        }
    }

    /// The number for calculations.
    pub fn as_f64(self) -> f64 {
        match self {
            // `Decimal` holds at most 96 bits and always converts.
            Self::Decimal(decimal) => decimal.to_f64().unwrap_or(f64::NAN),
            // The decimal a person sees, not the binary tail behind it.
            Self::Single(single) => single.to_string().parse().unwrap_or(f64::from(single)),
            Self::Double(double) => double,
        }
    }
}

impl fmt::Display for Number {
    fn fmt(&self, f: &mut fmt::Formatter<'_>) -> fmt::Result {
        match self {
            Self::Decimal(decimal) => decimal.fmt(f),
            Self::Single(single) => single.fmt(f),
            Self::Double(double) => double.fmt(f),
        }
    }
}

impl serde::Serialize for Number {
    /// As a JSON number with exactly the digits of [`Display`](fmt::Display).
    fn serialize<S: serde::Serializer>(&self, serializer: S) -> Result<S::Ok, S::Error> {
        match serde_json::from_str::<serde_json::Number>(&self.to_string()) {
            Ok(number) => number.serialize(serializer),
            Err(_) => serializer.serialize_f64(self.as_f64()),
        }
    }
}
