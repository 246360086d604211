//! Numbers and durations of a file.

use std::ops::RangeInclusive;
use std::time::Duration;

use rust_decimal::Decimal;
use rust_decimal::prelude::ToPrimitive;
use toml::de::{DeInteger, DeValue};

use super::item::Item;

impl Item<'_> {
    /// Any whole number; larger ones than the program can hold are given as the largest.
    pub(crate) fn whole_number(&self) -> Option<i64> {
        let Some(integer) = self.node.get_ref().as_integer() else {
            return self.expected("a whole number", "1");
        };
        let most = if integer.as_str().starts_with('-') {
            i64::MIN
        } else {
            i64::MAX
        };
        let number = to_i128(integer).and_then(|number| i64::try_from(number).ok());
        Some(number.unwrap_or(most))
    }

    /// A whole number of this range.
    pub(crate) fn whole(&self, range: RangeInclusive<i64>) -> Option<i64> {
        let Some(integer) = self.node.get_ref().as_integer() else {
            return self.expected("a whole number", &range.start().to_string());
        };
        match to_i128(integer).and_then(|n| i64::try_from(n).ok()) {
            Some(number) if range.contains(&number) => Some(number),
            _ => {
                let (from, to) = range.into_inner();
                let what = format!("'{}' cannot be {}", self.key(), self.written());
                self.note(&what, format!("it can be {from} to {to}"));
                None
            }
        }
    }

    /// A number, exactly as it is written.
    pub(crate) fn decimal(&self) -> Option<Decimal> {
        let number = match self.node.get_ref() {
            DeValue::Integer(integer) => {
                to_i128(integer).and_then(|n| Decimal::try_from_i128_with_scale(n, 0).ok())
            }
            DeValue::Float(float) => exact(float.as_str()),
            _ => return self.expected("a number", "0.1"),
        };
        if number.is_none() {
            let what = format!("'{}' is no number that can be kept exactly", self.key());
            self.note(&what, "write a number of up to 28 digits, for example 0.1");
        }
        number
    }

    /// A number for calculations.
    pub(crate) fn number(&self) -> Option<f64> {
        self.decimal()?.to_f64()
    }

    /// Two numbers, the first below the second.
    pub(crate) fn span_of_numbers(&self) -> Option<(f64, f64)> {
        let items = self.list()?;
        let [low, high] = items.as_slice() else {
            let what = format!("'{}' must have two numbers, lowest and highest", self.key());
            self.note(&what, format!("for example: {} = [0.0, 800.0]", self.key()));
            return None;
        };
        let (low, high) = (low.number(), high.number());
        let (low, high) = (low?, high?);
        if low >= high {
            let what = format!("'{}': {low} is not below {high}", self.key());
            self.note(&what, "write the lowest value first, then the highest");
            return None;
        }
        Some((low, high))
    }

    /// A duration (`250 ms`, `1h 30m`) of this range.
    pub(crate) fn duration(&self, range: RangeInclusive<Duration>) -> Option<Duration> {
        let Some(text) = self.as_text() else {
            return self.expected("a duration in quotes", "\"250 ms\"");
        };
        let parsed = humantime::parse_duration(text);
        let Some(duration) = parsed.ok().filter(|_| !has_torn_number(text)) else {
            let what = format!("'{}': {text:?} is no duration", self.key());
            self.note(&what, "write for example \"250 ms\", \"1 s\" or \"1h 30m\"");
            return None;
        };
        if range.contains(&duration) {
            return Some(duration);
        }
        let (from, to) = range.into_inner();
        let (from, to) = (spaced(from), spaced(to));
        self.note(
            &format!("'{}' cannot be {text:?}", self.key()),
            format!("it can be {from} to {to}"),
        );
        None
    }
}

/// Whether digits stand on both sides of a space: `1 0s` is a slip, not ten seconds.
fn has_torn_number(text: &str) -> bool {
    let parts: Vec<&str> = text.split_whitespace().collect();
    let tears = |pair: &[&str]| {
        pair[0].ends_with(|c: char| c.is_ascii_digit())
            && pair[1].starts_with(|c: char| c.is_ascii_digit())
    };
    parts.windows(2).any(tears)
}

/// As files write it, with a space before the unit.
fn spaced(duration: Duration) -> String {
    let text = humantime::format_duration(duration).to_string();
    let digits = text.chars().take_while(char::is_ascii_digit).count();
    let (number, unit) = text.split_at(digits);
    format!("{number} {unit}")
}

fn to_i128(integer: &DeInteger<'_>) -> Option<i128> {
    i128::from_str_radix(integer.as_str(), integer.radix()).ok()
}

fn exact(text: &str) -> Option<Decimal> {
    let text = text.trim_start_matches('+');
    Decimal::from_str_exact(text)
        .or_else(|_| Decimal::from_scientific(text))
        .ok()
}
