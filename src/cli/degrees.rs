//! The option that shows temperatures in another unit.

use crate::unit::Degrees;

/// A unit of temperature as a person writes it.
pub(super) fn degrees(text: &str) -> Result<Degrees, String> {
    Degrees::from_text(text).ok_or_else(|| format!("{text:?} is none of degC, degF, K"))
}
