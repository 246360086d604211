//! Raw values that mean something: faults, meanings, names, what counts as active.

use std::collections::{BTreeMap, BTreeSet};
use std::sync::Arc;

use serde_json::{Value, json};

use super::keys::Point as Keys;
use super::point::one_or_more;
use crate::map::model::{FaultValue, Meaning};
use crate::map::raw::{Shape, mask};
use crate::spanned::{Entries, Item, Key, Kind, Section};

/// What a raw value looks like as a key: the bits, or the number they stand for.
pub(super) const RAW: &str =
    r"^(0[xX][0-9A-Fa-f]+|[-+]?([0-9]+\.?[0-9]*|\.[0-9]+)([eE][-+]?[0-9]+)?)$";

/// A whole number, or a list of them.
#[derive(Clone, Copy, Debug)]
pub(super) struct Active;

impl Kind for Active {
    type Value<'a> = Vec<Item<'a>>;

    fn read<'a>(&self, item: &Item<'a>) -> Option<Self::Value<'a>> {
        let items = one_or_more(item)?;
        if items.is_empty() {
            item.note("'active' is empty", "list the values: active = [1, 2]");
        }
        Some(items)
    }

    fn schema(&self) -> Value {
        let one = json!({ "type": "integer" });
        json!({ "anyOf": [one, { "type": "array", "items": one, "minItems": 1 }] })
    }
}

/// `faults = { "0x7FFF" = "sensor open" }`. Without a shape only the writing is checked.
pub(super) fn faults(section: &Section<'_>, shape: Option<Shape>) -> Vec<FaultValue> {
    let fault = |(raw, meaning)| FaultValue {
        raw,
        meaning: Arc::from(meaning),
    };
    keyed(section, &Keys::FAULTS, shape)
        .into_iter()
        .map(fault)
        .collect()
}

/// `means = { "0" = "automatic" }`.
pub(super) fn means(section: &Section<'_>, shape: Option<Shape>) -> BTreeMap<i64, Meaning> {
    enumeration(section, &Keys::MEANS, shape)
}

/// `names = { "0" = "thermocouple K" }`.
pub(super) fn names(section: &Section<'_>, shape: Option<Shape>) -> BTreeMap<i64, String> {
    enumeration(section, &Keys::NAMES, shape)
        .into_iter()
        .map(|(raw, name)| (raw, name.to_owned()))
        .collect()
}

/// `active = [1, 2]`, or a single number.
pub(super) fn active(section: &Section<'_>, shape: Option<Shape>) -> Vec<i64> {
    let fits = |number: i64| shape.is_none_or(|shape| shape.unsigned(number.into()).is_some());
    let mut active = Vec::new();
    for item in section.read(&Keys::ACTIVE).unwrap_or_default() {
        match item.whole_number() {
            Some(number) if fits(number) => active.push(number),
            Some(number) => item.note(
                &format!("'active': {number} does not fit the encoding"),
                fitting(shape),
            ),
            None => {}
        }
    }
    active
}

fn enumeration<'a, K: Kind>(
    section: &Section<'a>,
    key: &Key<Entries<K>>,
    shape: Option<Shape>,
) -> BTreeMap<i64, K::Value<'a>> {
    if let (Some(item), Some(true)) = (section.get(key), shape.map(Shape::is_float)) {
        let key = key.name;
        let what = format!("'{key}' needs whole numbers, and this is a floating-point register");
        item.note_key_structure(&what, "check the encoding");
        return BTreeMap::new();
    }
    let whole = |raw| shape.map_or(0, |shape| shape.signed(raw));
    keyed(section, key, shape)
        .into_iter()
        .filter_map(|(raw, meant)| Some((i64::try_from(whole(raw)).ok()?, meant)))
        .collect()
}

fn keyed<'a, K: Kind>(
    section: &Section<'a>,
    key: &Key<Entries<K>>,
    shape: Option<Shape>,
) -> Vec<(u64, K::Value<'a>)> {
    let mut found = Vec::new();
    let mut seen = BTreeSet::new();
    for (item, meant) in section.read(key).unwrap_or_default() {
        let (Some(raw), Some(meant)) = (raw_key(&item, shape), meant) else {
            continue;
        };
        // Without a shape no raw value is known.
        if !seen.insert(raw) && shape.is_some() {
            let what = format!("{:?} stands here a second time", item.key());
            item.note_key(&what, "keep one of the two");
        }
        found.push((raw, meant));
    }
    found
}

fn raw_key(item: &Item<'_>, shape: Option<Shape>) -> Option<u64> {
    let key = item.key();
    let Some(written) = Written::from_key(key) else {
        let what = format!("{key:?} is no raw value");
        item.note_key(&what, "write the number in quotes: \"32767\" or \"0x7FFF\"");
        return None;
    };
    let Some(shape) = shape else {
        return Some(0);
    };
    let raw = written.raw(shape);
    if raw.is_none() {
        item.note_key(
            &format!("{key} does not fit the encoding"),
            fitting(Some(shape)),
        );
    }
    raw
}

/// A raw value as a person writes it.
enum Written {
    /// `0x7FFF`: the bits.
    Pattern(u64),
    /// `-32768`: the whole number the bits stand for.
    Whole(i128),
    /// `-999.0`: the floating-point number the bits stand for.
    Float(f64),
}

impl Written {
    fn from_key(key: &str) -> Option<Self> {
        if let Some(hex) = key.strip_prefix("0x").or_else(|| key.strip_prefix("0X")) {
            return u64::from_str_radix(hex, 16).ok().map(Self::Pattern);
        }
        let whole = key.parse().ok().map(Self::Whole);
        whole.or_else(|| {
            let float = key.parse().ok().filter(|float: &f64| float.is_finite());
            float.map(Self::Float)
        })
    }

    fn raw(&self, shape: Shape) -> Option<u64> {
        let widest = mask(shape.width());
        match *self {
            Self::Pattern(raw) => (raw <= widest).then_some(raw),
            Self::Whole(number) if shape.is_float() => Some(float_bits(number as f64, shape)),
            Self::Float(number) if shape.is_float() => Some(float_bits(number, shape)),
            // 65535 in a register table means the bits, even where they stand for -1.
            Self::Whole(number) => shape
                .unsigned(number)
                .or_else(|| u64::try_from(number).ok().filter(|raw| *raw <= widest)),
            Self::Float(_) => None,
        }
    }
}

fn float_bits(number: f64, shape: Shape) -> u64 {
    match shape.width() {
        32 => (number as f32).to_bits().into(),
        _ => number.to_bits(),
    }
}

fn fitting(shape: Option<Shape>) -> String {
    let Some(shape) = shape else {
        return String::new();
    };
    let (word, width) = (shape.encoding.word(), shape.width());
    let (low, high) = shape.limits();
    match shape.bits {
        Some(_) => format!("{width} bits hold {low} to {high}"),
        None if shape.is_float() => format!("{word} has {width} bits: at most 0x{:X}", mask(width)),
        None => format!(
            "{word} holds {low} to {high}; as bits, at most 0x{:X}",
            mask(width)
        ),
    }
}
