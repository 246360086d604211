//! The three ways in which register tables number registers.

use serde_json::{Value, json};

use super::keys::Point;
use crate::map::model::{Address, Table};
use crate::spanned::{Item, Kind, Section, Words};

/// How the map's addresses are to be understood.
#[derive(Clone, Copy, Debug, PartialEq, Eq, Default)]
pub(super) enum Numbering {
    /// As they go over the wire.
    #[default]
    ZeroBased,
    /// One more than they go over the wire.
    OneBased,
    /// With the table as first digit and counted from one: 30001, 40001, 300001, 400001.
    Reference,
}

impl Words for Numbering {
    const WHAT: &'static str = "way of numbering";
    const WORDS: &'static [(Self, &'static str)] = &[
        (Self::ZeroBased, "zero-based"),
        (Self::OneBased, "one-based"),
        (Self::Reference, "reference"),
    ];
    const ALSO: &'static [(&'static str, &'static str)] = &[
        ("0-based", "zero-based"),
        ("protocol", "zero-based"),
        ("1-based", "one-based"),
        ("4xxxx", "reference"),
    ];
}

/// The largest reference there is: the last holding register with six digits.
const MOST: i64 = 465_536;

/// The number of a register or bit, as one of the three ways of numbering has it. A reference may be
/// a text, because TOML has no leading zeros.
#[derive(Clone, Copy, Debug)]
pub(super) struct Register;

impl Kind for Register {
    type Value<'a> = Item<'a>;

    fn read<'a>(&self, item: &Item<'a>) -> Option<Item<'a>> {
        Some(item.clone())
    }

    fn schema(&self) -> Value {
        json!({
            "type": ["integer", "string"], "minimum": 0, "maximum": MOST, "pattern": "^[0-9]{1,6}$",
        })
    }
}

/// Reads `table` and `address`, which a point and its `write` both have; `usual` is the table meant
/// when none is named.
pub(super) fn read(
    section: &Section<'_>,
    numbering: Numbering,
    usual: Option<Table>,
) -> Option<(Table, Address)> {
    let named = if usual.is_some() || numbering == Numbering::Reference {
        section.read(&Point::TABLE)
    } else {
        section.require(&Point::TABLE)
    };
    let item = section.require(&Point::ADDRESS);
    match numbering {
        Numbering::ZeroBased => plain(named.or(usual), &item?, 0),
        Numbering::OneBased => plain(named.or(usual), &item?, 1),
        Numbering::Reference => reference(named, &item?),
    }
}

fn plain(table: Option<Table>, item: &Item<'_>, first: i64) -> Option<(Table, Address)> {
    let number = item.whole_number()?;
    let Ok(address) = u16::try_from(number.saturating_sub(first)) else {
        let help = match number {
            300_001..=365_536 | 400_001..=465_536 => {
                "this looks like a reference: say addresses = \"reference\" in [access]".to_owned()
            }
            0 if first == 1 => "the first address is 1; if the register table begins at 0, \
                                say addresses = \"zero-based\" in [access]"
                .to_owned(),
            _ => format!("it can be {first} to {}", 65_535 + first),
        };
        item.note(&format!("'address' cannot be {}", item.written()), help);
        return None;
    };
    Some((table?, Address(address)))
}

fn reference(named: Option<Table>, item: &Item<'_>) -> Option<(Table, Address)> {
    let (number, digits) = reference_number(item)?;
    let Some((table, address)) = resolve(number, digits) else {
        let help = "coils are 1 to 9999, discrete inputs 10001 on, input registers 30001 on, \
                    holding registers 40001 on; or six digits with \"000001\", 100001, 300001, 400001";
        item.note(&format!("{number} is no reference"), help);
        return None;
    };
    match named {
        Some(named) if named != table => {
            let (said, meant) = (named.word(), table.word());
            let what = format!("reference {number} is in table {meant:?}, not {said:?}");
            item.note_structure(
                &what,
                format!("leave 'table' out, or say table = {meant:?}"),
            );
            None
        }
        _ => Some((table, Address(address))),
    }
}

/// The number and how many digits it was written with; leading zeros need quotes in TOML.
fn reference_number(item: &Item<'_>) -> Option<(u32, usize)> {
    let Some(text) = item.as_text() else {
        let number = item.whole(1..=MOST)? as u32;
        return Some((number, number.to_string().len()));
    };
    let number = text.parse().ok();
    if number.is_none() {
        item.note(
            &format!("{text:?} is no reference"),
            "write for example 40001",
        );
    }
    Some((number?, text.len()))
}

/// Table and wire address of a reference (the data model of the Modbus application protocol
/// V1.1b3, 4.3 and 4.4, numbers items of each table from 1).
fn resolve(number: u32, digits: usize) -> Option<(Table, u16)> {
    let base = if digits >= 6 { 100_000 } else { 10_000 };
    let table = match number / base {
        0 => Table::Coil,
        1 => Table::Discrete,
        3 => Table::Input,
        4 => Table::Holding,
        _ => return None,
    };
    let address = (number % base).checked_sub(1)?;
    Some((table, u16::try_from(address).ok()?))
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn references_count_from_one_in_each_table() {
        for (number, digits, found) in [
            (1, 1, Some((Table::Coil, 0))),
            (1, 6, Some((Table::Coil, 0))),
            (65_536, 6, Some((Table::Coil, 65_535))),
            (65_536, 5, None),
            (10_001, 5, Some((Table::Discrete, 0))),
            (30_001, 5, Some((Table::Input, 0))),
            (40_108, 5, Some((Table::Holding, 107))),
            (49_999, 5, Some((Table::Holding, 9998))),
            (400_001, 6, Some((Table::Holding, 0))),
            (465_536, 6, Some((Table::Holding, 65_535))),
            (465_537, 6, None),
            (40_000, 5, None),
            (20_001, 5, None),
        ] {
            assert_eq!(resolve(number, digits), found, "{number}");
        }
    }
}
