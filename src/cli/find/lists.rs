//! Lists on the command line: unit numbers, baud rates, parities.

use std::collections::BTreeSet;
use std::str::FromStr;

use crate::setup::{Parity, StopBits, UnitId};

/// Unit numbers, as `1-10,17` names them.
#[derive(Clone, Debug, PartialEq)]
pub(super) struct UnitNumbers(pub(super) Vec<UnitId>);

impl FromStr for UnitNumbers {
    type Err = String;

    fn from_str(text: &str) -> Result<Self, String> {
        let wrong = || format!("{text:?} is no range of 1 to 247; write 1-10 or 1,5,17 or 1-10,17");
        let mut units = BTreeSet::new();
        for part in text.split(',') {
            let (first, last) = part.split_once('-').unwrap_or((part, part));
            let number = |text: &str| text.trim().parse().ok().and_then(UnitId::new);
            let (Some(first), Some(last)) = (number(first), number(last)) else {
                return Err(wrong());
            };
            if first > last {
                return Err(wrong());
            }
            units.extend((first.get()..=last.get()).filter_map(UnitId::new));
        }
        Ok(Self(units.into_iter().collect()))
    }
}

/// A parity as a setup writes it, or with the stop bits as `8E1`.
pub(in crate::cli) fn format(text: &str) -> Result<(Parity, StopBits), String> {
    let word = text.trim().to_ascii_lowercase();
    if let Some(parity) = Parity::from_word(&word) {
        return Ok((parity, StopBits::One));
    }
    let parity = match word.get(..2) {
        Some("8e") => Parity::Even,
        Some("8o") => Parity::Odd,
        Some("8n") => Parity::None,
        _ => return Err(wrong_format(text)),
    };
    match word.get(2..) {
        Some("1") => Ok((parity, StopBits::One)),
        Some("2") => Ok((parity, StopBits::Two)),
        _ => Err(wrong_format(text)),
    }
}

fn wrong_format(text: &str) -> String {
    format!("{text:?} is none of even, odd, none, 8E1, 8O1, 8N1, 8E2, 8O2, 8N2")
}

#[cfg(test)]
mod tests {
    use super::*;

    fn numbers(text: &str) -> Result<Vec<u8>, String> {
        let units = text.parse::<UnitNumbers>()?.0;
        Ok(units.into_iter().map(UnitId::get).collect())
    }

    #[test]
    fn unit_numbers_come_in_order_and_once() {
        assert_eq!(numbers("5,1-3, 2"), Ok(vec![1, 2, 3, 5]));
        assert_eq!(numbers("1-247").unwrap().len(), 247);
        for wrong in ["", "0", "248", "1-", "9-3", "1..5", "one", "1-300"] {
            assert!(numbers(wrong).unwrap_err().contains("1-10,17"), "{wrong}");
        }
    }

    #[test]
    fn a_parity_is_a_setups_word_or_the_trades_three_characters() {
        for (text, expected) in [
            ("even", (Parity::Even, StopBits::One)),
            ("8n2", (Parity::None, StopBits::Two)),
            ("8O1", (Parity::Odd, StopBits::One)),
        ] {
            assert_eq!(format(text), Ok(expected));
        }
        for wrong in ["", "8", "7E1", "8E3", "8E1x", "mark", "8\u{e9}1"] {
            assert!(format(wrong).unwrap_err().contains("8N2"), "{wrong}");
        }
    }
}
