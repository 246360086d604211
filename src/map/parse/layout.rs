//! Where a point is and how its raw value is laid out there.

use serde_json::{Value, json};

use super::access::Ground;
use super::keys::{BIT_OR_BITS, Point as Keys};
use crate::map::model::{Access, Address, Bits, Encoding, Place, Table};
use crate::map::raw::Shape;
use crate::spanned::{AnyKey, Item, Kind, Section};

/// A place and the shape of what is there.
#[derive(Clone, Copy)]
pub(super) struct Layout {
    pub(super) place: Place,
    pub(super) shape: Shape,
}

/// Reads `encoding`, `bit` and `bits` and checks that they can stand where the point is.
pub(super) fn read(
    section: &Section<'_>,
    ground: &Ground,
    spot: Option<(Table, Address)>,
) -> Option<Layout> {
    let encoding = section.read(&Keys::ENCODING);
    let bits = bits(section);
    let is_wrong = encoding.is_none() && section.has(&Keys::ENCODING)
        || bits.is_none() && !section.present(BIT_OR_BITS.keys).is_empty();
    let table = section.get(&Keys::TABLE).and_then(|item| item.as_text());
    let may_be_bits = table.and_then(Table::from_word).is_some_and(Table::is_bits);
    if spot.is_none() && bits.is_none() && !is_wrong && !may_be_bits {
        section.require(&Keys::ENCODING);
    }
    let (table, address) = spot?;
    if is_wrong {
        return None;
    }
    let shape = if table.is_bits() {
        single_bit(section, encoding, bits)
    } else {
        in_registers(section, encoding, bits)
    }?;
    let place = Place {
        table,
        address,
        count: shape.encoding.words(),
    };
    (is_inside(section, place, shape) && is_readable(section, place, shape, &ground.access))
        .then_some(Layout { place, shape })
}

fn bits(section: &Section<'_>) -> Option<Bits> {
    let single = section.read(&Keys::BIT).map(|bit| Bits {
        lowest: bit as u8,
        count: 1,
    });
    let run = section.read(&Keys::BITS);
    if section.contradicts(&BIT_OR_BITS) {
        return None;
    }
    single.or(run)
}

/// `"4..7"`: bits 4 to 7, both included, as register tables count them.
#[derive(Clone, Copy, Debug)]
pub(super) struct BitRun;

impl Kind for BitRun {
    type Value<'a> = Bits;

    fn read(&self, item: &Item<'_>) -> Option<Bits> {
        let text = item.text()?;
        let ends = text.split_once("..").and_then(|(low, high)| {
            let low: u8 = low.trim().parse().ok()?;
            let high: u8 = high.trim().parse().ok()?;
            (low <= high && high <= 63).then_some((low, high))
        });
        if ends.is_none() {
            let help = "write the lowest and the highest bit, both included: bits = \"4..7\"";
            item.note(&format!("{text:?} is no run of bits"), help);
        }
        ends.map(|(low, high)| Bits {
            lowest: low,
            count: high - low + 1,
        })
    }

    fn schema(&self) -> Value {
        json!({ "type": "string", "pattern": r"^\s*\+?\d+\s*\.\.\s*\+?\d+\s*$" })
    }
}

/// Whichever of 'bit' and 'bits' the point has.
fn bits_key(section: &Section<'_>) -> &'static dyn AnyKey {
    if section.has(&Keys::BIT) {
        &Keys::BIT
    } else {
        &Keys::BITS
    }
}

fn single_bit(
    section: &Section<'_>,
    encoding: Option<Encoding>,
    bits: Option<Bits>,
) -> Option<Shape> {
    if let Some(wide) = encoding.filter(|encoding| *encoding != Encoding::Bit) {
        let what = format!(
            "a coil or discrete input is one bit and cannot hold {}",
            wide.word()
        );
        let help = "use encoding = \"bit\", or table = \"holding\" or \"input\" for registers";
        section.note_at(&Keys::ENCODING, &what, help);
        return None;
    }
    if bits.is_some() {
        let key = bits_key(section);
        let name = key.name();
        let what = format!("a coil or discrete input is one bit already and has no '{name}'");
        section.note_at(key, &what, "leave it out, or name a register table");
        return None;
    }
    Some(Shape {
        encoding: Encoding::Bit,
        bits: None,
    })
}

fn in_registers(
    section: &Section<'_>,
    encoding: Option<Encoding>,
    bits: Option<Bits>,
) -> Option<Shape> {
    let encoding = match (encoding, bits) {
        (Some(Encoding::Bit) | None, Some(_)) => Encoding::U16,
        (Some(Encoding::Bit), None) => {
            let help = "add bit = 0 (the lowest) to 15, or name the table coil or discrete";
            section.note_at(&Keys::ENCODING, "which bit of the register is meant?", help);
            return None;
        }
        (Some(encoding), _) => encoding,
        (None, None) => {
            section.require(&Keys::ENCODING);
            return None;
        }
    };
    bits.is_none_or(|bits| can_hold(section, encoding, bits))
        .then_some(Shape { encoding, bits })
}

fn can_hold(section: &Section<'_>, encoding: Encoding, bits: Bits) -> bool {
    let (word, width) = (encoding.word(), encoding.width());
    if encoding.is_float() || encoding.is_signed() {
        let what = format!("bits are taken from plain words, not from {word}");
        section.note_at(&Keys::ENCODING, &what, "use u16, u32 or u64");
        return false;
    }
    let highest = bits.lowest + bits.count - 1;
    if highest >= width {
        let what = format!("{word} has no bit {highest}");
        let help = format!("bits count from 0 (the lowest) to {}", width - 1);
        section.note_at(bits_key(section), &what, &help);
        return false;
    }
    true
}

fn is_inside(section: &Section<'_>, place: Place, shape: Shape) -> bool {
    let is_inside = place.end() <= 65_536;
    if !is_inside {
        let encoding = shape.encoding.word();
        let (needs, last) = (spelled(place.count), place.address.0);
        let what = match 65_536 - u32::from(last) {
            1 => format!(
                "{encoding} needs {needs} registers, and {last} is the last address there is"
            ),
            left => format!(
                "{encoding} needs {needs} registers, and only {left} are left from {last} on"
            ),
        };
        let help = "check the address, and whether the register table counts from 0 or from 1";
        section.note_at(&Keys::ADDRESS, &what, help);
    }
    is_inside
}

fn is_readable(section: &Section<'_>, place: Place, shape: Shape, access: &Access) -> bool {
    let most = access.max_words;
    let is_readable = place.table.is_bits() || place.count <= most;
    if !is_readable {
        let encoding = shape.encoding.word();
        let needs = spelled(place.count);
        let what = format!("{encoding} needs {needs} registers, and one read may ask for {most}");
        let help = "raise max_words in [access], or check the encoding";
        section.note_at(&Keys::ENCODING, &what, help);
    }
    is_readable
}

fn spelled(count: u16) -> &'static str {
    match count {
        2 => "two",
        4 => "four",
        _ => "one",
    }
}
