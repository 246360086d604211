//! A value that can hardly be, and what it would be if the map said otherwise.

use rust_decimal::Decimal;

use super::plausible::{SMALLEST, is_plausible};
use crate::map::image::Image;
use crate::map::model::{ByteOrder, Encoding, Map, Point, WordOrder};
use crate::number::Number;

/// What is odd about a number that can hardly be right, and how the map would make it right.
pub(super) fn look(
    map: &Map,
    point: &Point,
    image: &Image,
    number: Number,
) -> Option<(&'static str, String)> {
    let unit = map.unit_of(point, image);
    let is_plausible_number = is_plausible(point, unit.as_deref(), number.as_f64());
    let tiny = tiny(point, image);
    if is_plausible_number && tiny.is_none() && !is_shifted(map, point, image) {
        return None;
    }
    let unit = unit.unwrap_or_default();
    let shown = tiny.map_or(number.to_string(), |tiny| format!("{tiny:.1e}"));
    let odd = format!("{shown} {unit}");
    let odd = odd.trim_end();
    if let Some(other) = order(map, point, image) {
        return Some(("other-order", format!("{odd} can hardly be; {other}")));
    }
    if let Some(other) = scale(point, &unit, number) {
        return Some(("other-scale", format!("{odd} can hardly be; {other}")));
    }
    let text = format!("{odd} can hardly be: check address, encoding and scale");
    (!is_plausible_number || tiny.is_some()).then_some(("implausible", text))
}

/// The value of a floating-point register that is next to nothing, but not nothing.
fn tiny(point: &Point, image: &Image) -> Option<f64> {
    let raw = point.raw(&image.raw(&point.place)?);
    let float = match point.encoding {
        Encoding::F32 => f32::from_bits(raw as u32).into(),
        Encoding::F64 => f64::from_bits(raw),
        _ => return None,
    };
    (float != 0.0 && float.abs() < SMALLEST).then_some(float)
}

/// Whether the raw value is what controllers send on purpose for "no number", in the right order.
fn is_sentinel(point: &Point, image: &Image) -> bool {
    let raw = image.raw(&point.place).map_or(0, |words| point.raw(&words));
    let is_of = |exponent: u64, quiet: u64, ones: u64| {
        let magnitude = raw & (ones >> 1);
        [exponent, exponent | quiet, ones >> 1].contains(&magnitude)
    };
    match point.encoding {
        Encoding::F32 => is_of(0x7F80_0000, 1 << 22, u32::MAX.into()),
        Encoding::F64 => is_of(0x7FF0_0000_0000_0000, 1 << 51, u64::MAX),
        _ => false,
    }
}

/// A whole number of two or more registers of which only the upper ones hold something.
fn is_shifted(map: &Map, point: &Point, image: &Image) -> bool {
    let words = point.encoding.words();
    let raw = image.raw(&point.place).map_or(0, |words| point.raw(&words));
    let lower = (1_u64 << (8 * words)) - 1;
    let is_whole = words > 1 && point.bits.is_none() && !point.encoding.is_float();
    // Exchanged, it would be a small number; as it stands it is a multiple of 65536.
    is_whole && raw != 0 && raw & lower == 0 && order(map, point, image).is_some()
}

/// The order of words and bytes under which it would be a plausible value.
pub(super) fn order(map: &Map, point: &Point, image: &Image) -> Option<String> {
    let words = match point.word_order {
        WordOrder::HighFirst => WordOrder::LowFirst,
        WordOrder::LowFirst => WordOrder::HighFirst,
    };
    let bytes = match point.byte_order {
        ByteOrder::HighFirst => ByteOrder::LowFirst,
        ByteOrder::LowFirst => ByteOrder::HighFirst,
    };
    let has_words = point.encoding.words() > 1 && point.bits.is_none();
    let others = [
        (
            words,
            point.byte_order,
            format!("word_order = {:?}", words.word()),
        ),
        (
            point.word_order,
            bytes,
            format!("byte_order = {:?}", bytes.word()),
        ),
        (
            words,
            bytes,
            format!(
                "word_order = {:?} and byte_order = {:?}",
                words.word(),
                bytes.word()
            ),
        ),
    ];
    // In a single register an exchange of bytes makes something plausible of anything.
    let is_open = has_words && !is_sentinel(point, image);
    let mut others = others.into_iter().filter(|_| is_open);
    let plausible = |(word_order, byte_order, how): (WordOrder, ByteOrder, String)| {
        let other = Point {
            word_order,
            byte_order,
            ..point.clone()
        };
        let number = map.read(&other, image).number()?;
        let unit = map.unit_of(point, image);
        let is_good = number.as_f64() != 0.0
            && is_short(number)
            && is_plausible(point, unit.as_deref(), number.as_f64());
        is_good.then(|| format!("it would read {number} with {how}"))
    };
    others.find_map(plausible)
}

/// Whether it is written with few digits, as what a person set or a sensor resolves is.
fn is_short(number: Number) -> bool {
    let digits = number.to_string();
    digits.chars().filter(char::is_ascii_digit).count() <= 7
}

/// How many decimals more would make it plausible.
fn scale(point: &Point, unit: &str, number: Number) -> Option<String> {
    let Number::Decimal(value) = number else {
        return None;
    };
    [(1, "one decimal more"), (2, "two decimals more")]
        .into_iter()
        .find_map(|(decimals, said)| {
            let smaller = value.checked_mul(Decimal::new(1, decimals))?;
            is_plausible(point, Some(unit), Number::Decimal(smaller).as_f64())
                .then(|| format!("with {said} it would read {smaller}"))
        })
}
