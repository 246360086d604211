//! Kinds of number, and the units in which registers give them.

/// What kind of number a value is; inside it is always in degC, degrees C, percent, seconds or degrees
/// C a minute.
#[derive(Clone, Copy, Debug, PartialEq, Eq)]
pub enum Kind {
    /// A temperature.
    Temperature,
    /// A difference of temperatures.
    Difference,
    /// A share of full power.
    Percent,
    /// A time.
    Time,
    /// Degrees in a minute.
    Rate,
    /// A plain number.
    Count,
}

/// The unit in which a register gives its value.
#[derive(Clone, Copy, Debug, PartialEq)]
pub enum Unit {
    /// Degrees Celsius, of a temperature or a difference.
    DegC,
    /// Degrees Fahrenheit, of a temperature or a difference.
    DegF,
    /// Percent of full power.
    Percent,
    /// A difference in percent of a span of so many degrees C.
    PercentOfSpan(f64),
    /// Seconds.
    Second,
    /// Minutes.
    Minute,
    /// Degrees Celsius a minute.
    DegCPerMinute,
    /// Degrees Fahrenheit a minute.
    DegFPerMinute,
    /// None.
    None,
}

/// Degrees Fahrenheit in a degree Celsius, and at 0 degC.
const FAHRENHEIT: (f64, f64) = (1.8, 32.0);

impl Kind {
    /// The unit inside.
    pub const fn unit(self) -> Unit {
        match self {
            Self::Temperature | Self::Difference => Unit::DegC,
            Self::Percent => Unit::Percent,
            Self::Time => Unit::Second,
            Self::Rate => Unit::DegCPerMinute,
            Self::Count => Unit::None,
        }
    }
}

impl Unit {
    /// A value of this kind, in this unit.
    pub fn of(self, kind: Kind, value: f64) -> f64 {
        let (factor, zero) = self.factor(kind);
        value * factor + zero
    }

    /// What a number in this unit stands for; the inverse of [`of`](Self::of).
    pub fn meant(self, kind: Kind, number: f64) -> f64 {
        let (factor, zero) = self.factor(kind);
        (number - zero) / factor
    }

    fn factor(self, kind: Kind) -> (f64, f64) {
        match (self, kind) {
            (Self::DegF, Kind::Temperature) => FAHRENHEIT,
            (Self::DegF | Self::DegFPerMinute, _) => (FAHRENHEIT.0, 0.0),
            (Self::Minute, _) => (1.0 / 60.0, 0.0),
            (Self::PercentOfSpan(span), _) => (100.0 / span, 0.0),
            _ => (1.0, 0.0),
        }
    }

    /// As it is written.
    pub fn text(self) -> &'static str {
        match self {
            Self::DegC => "degC",
            Self::DegF => "degF",
            Self::Percent | Self::PercentOfSpan(_) => "%",
            Self::Second => "s",
            Self::Minute => "min",
            Self::DegCPerMinute => "degC/min",
            Self::DegFPerMinute => "degF/min",
            Self::None => "",
        }
    }
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn differences_convert_by_the_factor_alone() {
        let in_f = |kind, value| Unit::DegF.of(kind, value);
        assert!((in_f(Kind::Temperature, 100.0) - 212.0).abs() < 1e-9);
        assert!((in_f(Kind::Difference, 100.0) - 180.0).abs() < 1e-9);
        assert!((Unit::DegF.meant(Kind::Temperature, 932.0) - 500.0).abs() < 1e-9);
        assert!((Unit::PercentOfSpan(800.0).of(Kind::Difference, 28.0) - 3.5).abs() < 1e-9);
        assert!((Unit::Minute.of(Kind::Time, 150.0) - 2.5).abs() < 1e-9);
    }
}
