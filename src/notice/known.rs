//! A value that was read, to be compared with one that is read later.

use std::sync::Arc;

use rust_decimal::Decimal;

use crate::map::Point;
use crate::number::Number;
use crate::sample::Reading;
use crate::unit::{Degrees, in_degrees};

/// A value with the unit it was in.
#[derive(Clone, Debug, PartialEq)]
pub(super) struct Known {
    number: Number,
    unit: Option<Arc<str>>,
}

impl Known {
    /// What a reading gives, if it gives a value.
    pub(super) fn of(reading: &Reading, unit: Option<&Arc<str>>) -> Option<Self> {
        Some(Self {
            number: reading.number()?,
            unit: unit.cloned(),
        })
    }

    /// Whether the point has moved since, other than into another unit: there a controller rounds
    /// its own way, by up to a step of the last decimal.
    pub(super) fn has_moved(&self, point: &Point, now: &Self) -> bool {
        let Some((before, _)) = self.in_unit_of(point, now) else {
            return point.moved(self.number, now.number);
        };
        let step = match now.number {
            Number::Decimal(now) => Decimal::new(1, now.scale()),
            Number::Single(_) | Number::Double(_) => Decimal::new(1, 3),
        };
        let apart = before.as_decimal().zip(now.number.as_decimal());
        apart.is_none_or(|(before, now)| (before - now).abs() > step)
    }

    /// The value in the other's degrees, where they differ.
    fn in_unit_of(&self, point: &Point, other: &Self) -> Option<(Number, String)> {
        let (own, other) = (self.unit.as_deref()?, other.unit.as_deref()?);
        let to = Degrees::from_word(other.split('/').next()?)?;
        in_degrees(self.number, own, to, point.quantity)
    }

    /// `band 8.0 -> 31.2 degC`, `mode automatic -> manual`
    pub(super) fn story(&self, point: &Point, now: &Self) -> String {
        let said = |known: &Self| match (point.in_words(known.number), &known.unit) {
            (Some(words), _) => (words.to_owned(), String::new()),
            (None, Some(unit)) => (known.number.to_string(), format!(" {unit}")),
            (None, None) => (known.number.to_string(), String::new()),
        };
        let ((before, mut before_unit), (now, now_unit)) = (said(self), said(now));
        // Said once where both have it.
        if before_unit == now_unit {
            before_unit.clear();
        }
        format!("{} {before}{before_unit} -> {now}{now_unit}", point.name)
    }
}

#[cfg(test)]
mod tests {
    use super::*;
    use crate::map::Map;

    fn map() -> Map {
        let text = "schema = 1\ntitle = \"t\"\n[points.mode]\nrole = \"mode\"\ntable = \"input\"\n\
                    address = 0\nencoding = \"u16\"\nmeans = { \"0\" = \"automatic\" }\n\
                    [points.reset]\nrole = \"integral\"\ntable = \"input\"\naddress = 1\n\
                    encoding = \"u16\"\noff = 0\n\
                    [points.sp]\nrole = \"setpoint\"\ntable = \"input\"\naddress = 2\n\
                    encoding = \"i16\"\nscale = 0.1\n\
                    [points.band]\nrole = \"proportional\"\ntable = \"input\"\naddress = 3\n\
                    encoding = \"i16\"\nscale = 0.1\n";
        Map::parse(text, "t.toml").unwrap()
    }

    fn known(value: &str, unit: &str) -> Known {
        Known {
            number: Number::Decimal(value.parse().unwrap()),
            unit: (!unit.is_empty()).then(|| unit.into()),
        }
    }

    #[test]
    fn a_move_is_told_in_the_maps_words_where_it_has_them() {
        let map = map();
        let told = |point: usize, before: &str, now: &str, unit: &str| {
            known(before, unit).story(&map.points[point], &known(now, unit))
        };
        assert_eq!(told(0, "0", "1", ""), "mode automatic -> 1");
        assert_eq!(told(1, "95", "412", "s"), "reset 95 -> 412 s");
        assert_eq!(told(1, "95", "0", "s"), "reset 95 s -> off");
        assert_eq!(told(1, "0", "95", "s"), "reset off -> 95 s");
    }

    #[test]
    fn another_unit_alone_is_no_move() {
        let map = map();
        let moved = |point: usize, before: (&str, &str), now: (&str, &str)| {
            known(before.0, before.1).has_moved(&map.points[point], &known(now.0, now.1))
        };
        assert!(!moved(2, ("510.0", "degC"), ("950.0", "degF")));
        assert!(!moved(2, ("510.3", "degC"), ("950.5", "degF")));
        assert!(moved(2, ("510.0", "degC"), ("951.0", "degF")));
        // A band is a difference: only the size of the degrees counts.
        assert!(!moved(3, ("10.0", "degC"), ("18.0", "degF")));
        assert!(moved(3, ("10.0", "degC"), ("50.0", "degF")));
        assert!(moved(3, ("10.0", "degC"), ("10.1", "degC")));
    }
}
