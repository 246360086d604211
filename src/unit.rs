//! Degrees, and what one temperature is in another unit.

use rust_decimal::prelude::ToPrimitive;
use rust_decimal::{Decimal, RoundingStrategy};

use crate::number::Number;
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
}, also &[
    ("C", "degC"),
    ("°C", "degC"),
    ("celsius", "degC"),
    ("F", "degF"),
    ("°F", "degF"),
    ("fahrenheit", "degF"),
    ("kelvin", "K"),
]);

/// A number with a unit, in other degrees: `None` where the unit has none, or is in these already.
///
/// ```
/// use emberline::number::Number;
/// use emberline::unit::{Degrees::Fahrenheit, Quantity, in_degrees};
/// let ramp = Number::Decimal("2.5".parse().unwrap());
/// let (ramp, unit) = in_degrees(ramp, "degC/min", Fahrenheit, Quantity::Temperature).unwrap();
/// assert_eq!(format!("{ramp} {unit}"), "4.5 degF/min");
/// ```
pub fn in_degrees(
    number: Number,
    unit: &str,
    to: Degrees,
    quantity: Quantity,
) -> Option<(Number, String)> {
    let (word, rest) = match unit.split_once('/') {
        Some((word, _)) => unit.split_at(word.len()),
        None => (unit, ""),
    };
    let from = Degrees::from_word(word).filter(|from| *from != to)?;
    // So much in a minute is a difference, whatever the point is.
    let quantity = if rest.is_empty() {
        quantity
    } else {
        Quantity::Difference
    };
    let number = from.convert_number(number, to, quantity);
    Some((number, format!("{}{rest}", to.word())))
}

/// How a number of degrees converts: 25 degC on the thermometer are 77 degF, but a band of 25 degC
/// is one of 45 degF.
#[derive(Clone, Copy, Debug, PartialEq, Eq)]
pub enum Quantity {
    /// A point on the scale.
    Temperature,
    /// A distance between two points on it, or so much of it in a minute.
    Difference,
}

impl Degrees {
    /// The unit as people write it, in any usual spelling.
    ///
    /// ```
    /// use emberline::unit::Degrees;
    /// assert_eq!(Degrees::from_text("°F"), Some(Degrees::Fahrenheit));
    /// assert_eq!(Degrees::from_text("bar"), None);
    /// ```
    pub fn from_text(text: &str) -> Option<Self> {
        match text.trim() {
            "°C" | "\u{2103}" | "C" => Some(Self::Celsius),
            "°F" | "\u{2109}" | "F" => Some(Self::Fahrenheit),
            word => Self::from_word(word),
        }
    }

    /// How many of its degrees are five kelvins: whole numbers, so that nothing is rounded.
    fn per_five_kelvins(self) -> i64 {
        match self {
            Self::Celsius | Self::Kelvin => 5,
            Self::Fahrenheit => 9,
        }
    }

    /// What it reads at 0 degrees Celsius.
    fn at_freezing(self) -> Decimal {
        match self {
            Self::Celsius => Decimal::ZERO,
            Self::Fahrenheit => Decimal::new(32, 0),
            Self::Kelvin => Decimal::new(27_315, 2),
        }
    }

    /// A number of these degrees in another unit; exact unless it comes from degrees Fahrenheit.
    /// `None` where it is too large for a decimal.
    ///
    /// Source: NIST Special Publication 811 (2008), B.8: t/degF = 1.8 t/degC + 32,
    /// T/K = t/degC + 273.15.
    ///
    /// ```
    /// use emberline::unit::{Degrees::{Celsius, Fahrenheit}, Quantity::{Difference, Temperature}};
    /// let value = "25.3".parse().unwrap();
    /// let shown = |as_what| Celsius.convert(value, Fahrenheit, as_what).unwrap().to_string();
    /// assert_eq!([shown(Temperature), shown(Difference)], ["77.54", "45.54"]);
    /// ```
    pub fn convert(self, value: Decimal, to: Self, quantity: Quantity) -> Option<Decimal> {
        if self == to {
            return Some(value);
        }
        let (from_zero, to_zero) = match quantity {
            Quantity::Temperature => (self.at_freezing(), to.at_freezing()),
            Quantity::Difference => (Decimal::ZERO, Decimal::ZERO),
        };
        value
            .checked_sub(from_zero)?
            .checked_mul(to.per_five_kelvins().into())?
            .checked_div(self.per_five_kelvins().into())?
            .checked_add(to_zero)
            .map(|converted| converted.normalize())
    }

    /// As [`convert`](Self::convert), with as many decimals as the number had.
    pub fn convert_rounded(self, value: Decimal, to: Self, quantity: Quantity) -> Option<Decimal> {
        let half_up = RoundingStrategy::MidpointAwayFromZero;
        let converted = self.convert(value, to, quantity)?;
        let mut rounded = converted.round_dp_with_strategy(value.scale(), half_up);
        rounded.rescale(value.scale());
        Some(rounded)
    }

    /// As [`convert`](Self::convert), for calculations: by way of a decimal, so that 77.54 degF are
    /// 25.3 degC and not 25.300000000000004.
    pub fn convert_f64(self, value: f64, to: Self, quantity: Quantity) -> f64 {
        let exact = Decimal::try_from(value).ok();
        let converted = exact.and_then(|value| self.convert(value, to, quantity));
        converted
            .and_then(|it| it.to_f64())
            .unwrap_or_else(|| self.convert_roughly(value, to, quantity))
    }

    /// For numbers beyond what a decimal holds, and for those that are none.
    fn convert_roughly(self, value: f64, to: Self, quantity: Quantity) -> f64 {
        let zero = |degrees: Self| match quantity {
            Quantity::Difference => 0.0,
            Quantity::Temperature => degrees.at_freezing().to_f64().unwrap_or(f64::NAN),
        };
        let factor = to.per_five_kelvins() as f64 / self.per_five_kelvins() as f64;
        (value - zero(self)) * factor + zero(to)
    }

    /// A number of these degrees in another unit, with the decimals it has.
    pub fn convert_number(self, number: Number, to: Self, quantity: Quantity) -> Number {
        let decimal = match number {
            Number::Decimal(decimal) => self.convert_rounded(decimal, to, quantity),
            Number::Single(_) | Number::Double(_) => None,
        };
        match decimal {
            Some(decimal) => Number::Decimal(decimal),
            None => Number::Double(self.convert_f64(number.as_f64(), to, quantity)),
        }
    }
}

#[cfg(test)]
mod tests {
    use super::Degrees::{Celsius, Fahrenheit, Kelvin};
    use super::Quantity::{Difference, Temperature};
    use super::*;

    /// Fixed points by definition and the boiling point of water as it is usually given; closed form.
    #[test]
    fn known_temperatures_and_differences_convert_exactly() {
        for (value, from, to, quantity, expected) in [
            ("0", Celsius, Fahrenheit, Temperature, "32"),
            ("100", Celsius, Fahrenheit, Temperature, "212"),
            ("-40", Fahrenheit, Celsius, Temperature, "-40"),
            ("0", Kelvin, Celsius, Temperature, "-273.15"),
            ("-459.67", Fahrenheit, Kelvin, Temperature, "0"),
            ("2.5", Celsius, Fahrenheit, Difference, "4.5"),
            ("1", Kelvin, Celsius, Difference, "1"),
            ("9", Fahrenheit, Kelvin, Difference, "5"),
        ] {
            let value: Decimal = value.parse().unwrap();
            let converted = from.convert(value, to, quantity).unwrap();
            assert_eq!(converted, expected.parse().unwrap(), "{value} {from:?}");
            let float = from.convert_f64(value.try_into().unwrap(), to, quantity);
            let exact: f64 = converted.try_into().unwrap();
            assert_eq!(
                float.total_cmp(&exact),
                std::cmp::Ordering::Equal,
                "{float} {exact}"
            );
            let rough = from.convert_roughly(value.try_into().unwrap(), to, quantity);
            assert!((rough - exact).abs() < 1e-9, "{rough} {exact}");
        }
    }

    #[test]
    fn a_rounded_number_keeps_its_decimals() {
        let shown = |value: &str| {
            let value = value.parse().unwrap();
            let rounded = Fahrenheit.convert_rounded(value, Celsius, Temperature);
            rounded.unwrap().to_string()
        };
        assert_eq!(
            [shown("77"), shown("77.0"), shown("77.5")],
            ["25", "25.0", "25.3"]
        );
    }
}
