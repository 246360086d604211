//! Degrees, and what one temperature is in another unit.

use crate::spanned::words;

/// A unit of temperature.
#[derive(Clone, Copy, Debug, PartialEq, Eq)]
#[expect(missing_docs, reason = "the usual names of the units")]
pub enum Degrees {
    Celsius,
    Fahrenheit,
    Kelvin,
}

words!(Degrees, "unit", {
    Celsius = "degC",
    Fahrenheit = "degF",
    Kelvin = "K",
});

impl Degrees {
    /// How many of its degrees are one kelvin: 1.8 degrees Fahrenheit (NIST SP 811, 2008 edition,
    /// B.8: t/degF = 1.8 t/degC + 32, T/K = t/degC + 273.15).
    pub fn per_kelvin(self) -> f64 {
        match self {
            Self::Celsius | Self::Kelvin => 1.0,
            Self::Fahrenheit => 1.8,
        }
    }

    /// A difference of temperatures in another unit; only the size of the degrees counts.
    ///
    /// ```
    /// use emberline::unit::Degrees::{Celsius, Fahrenheit};
    /// assert_eq!(Celsius.difference_in(Fahrenheit, 5.0), 9.0);
    /// ```
    pub fn difference_in(self, other: Self, value: f64) -> f64 {
        value * other.per_kelvin() / self.per_kelvin()
    }
}
