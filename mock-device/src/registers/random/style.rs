//! What all registers of one random layout have in common.

use std::time::Duration;

use super::dice::Dice;
use crate::registers::{Broken, Encoding, Item, Kind, Numbering, Order, Says, Scale, Unit, What};

/// How numbers are written.
#[derive(Clone, Copy, Debug, PartialEq, Eq)]
enum Family {
    /// In one word each.
    Short,
    /// In one or two words.
    Mixed,
    /// As 32-bit floats.
    Floats,
}

/// How states are told.
#[derive(Clone, Copy, Debug, PartialEq, Eq)]
pub(super) enum States {
    /// As bits of one word.
    Packed,
    /// In the tables of bits.
    Bits,
    /// As one number for what the controller does.
    Enumerated,
    /// In a word each.
    Words,
}

/// What all registers have in common.
#[derive(Clone, Copy, Debug)]
pub(super) struct Style {
    family: Family,
    pub(super) states: States,
    /// Whether what is measured stands in the input registers.
    pub(super) splits: bool,
    pub(super) order: Order,
    pub(super) max_words: u16,
    pub(super) rest: Duration,
    pub(super) numbering: Numbering,
    pub(super) first_bit: u8,
    pub(super) says: Says,
    temperature: Unit,
    /// Of a temperature in one word.
    scale: Scale,
    /// Of a percentage in whole numbers, and in floats.
    percent: (f64, f64),
    /// Of a time, and how many steps make it.
    time: (Unit, f64),
    band: Unit,
    broken: Broken,
    /// Whether a value of two words begins at an even address.
    pub(super) aligns: bool,
}

/// Spans of the input, degC.
const SPANS: [f64; 3] = [600.0, 800.0, 1200.0];

impl Style {
    pub(super) fn draw(dice: &mut Dice) -> Self {
        let family = dice.one_of(&[Family::Short, Family::Short, Family::Mixed, Family::Floats]);
        let temperature = dice.one_of(&[Unit::DegC, Unit::DegC, Unit::DegC, Unit::DegF]);
        let order = Order {
            low_word_first: dice.percent(50),
            low_byte_first: dice.percent(15),
        };
        let scale = scale(dice, family, temperature);
        Self {
            family,
            states: dice.one_of(&[
                States::Packed,
                States::Bits,
                States::Enumerated,
                States::Words,
            ]),
            splits: dice.percent(50),
            order,
            max_words: dice.one_of(&[2, 4, 8, 8, 16, 32, 125]),
            rest: Duration::from_millis(dice.one_of(&[0, 0, 0, 20, 50, 80])),
            numbering: dice.one_of(&[
                Numbering::ZeroBased,
                Numbering::ZeroBased,
                Numbering::Hexadecimal,
                Numbering::OneBased,
                Numbering::OneBased,
                Numbering::Reference,
                Numbering::Reference,
            ]),
            first_bit: dice.one_of(&[0, 0, 1]),
            says: says(dice),
            temperature,
            scale,
            percent: (
                dice.one_of(&[1.0, 10.0, 10.0, 100.0]),
                dice.one_of(&[1.0, 1.0, 0.01]),
            ),
            time: dice.one_of(&[
                (Unit::Second, 1.0),
                (Unit::Second, 1.0),
                (Unit::Minute, 10.0),
                (Unit::Minute, 100.0),
            ]),
            band: if dice.percent(25) {
                Unit::PercentOfSpan(dice.one_of(&SPANS))
            } else {
                temperature
            },
            broken: broken(dice, family, scale),
            aligns: dice.percent(50),
        }
    }

    /// Whether temperatures have the decimals of the display.
    pub(super) fn follows_display(&self) -> bool {
        self.scale == Scale::Display
    }

    /// An item that holds a number, written as this layout writes such numbers.
    pub(super) fn number(&self, dice: &mut Dice, item: Item) -> Item {
        if item.what == What::RunningTime {
            return item.coded(Encoding::U32, 1.0);
        }
        let unit = self.unit_of(item.what);
        let is_long = match self.family {
            Family::Short => false,
            Family::Mixed => dice.percent(40),
            Family::Floats => return self.float(item, unit),
        };
        let item = Item { unit, ..item };
        match item.what.kind() {
            Kind::Temperature if is_long => self.long_temperature(item),
            Kind::Difference if is_long => item.coded(Encoding::I32, 100.0),
            Kind::Time | Kind::Rate if is_long => item.coded(Encoding::U32, 100.0),
            Kind::Temperature => self.short_temperature(item),
            Kind::Difference if matches!(unit, Unit::PercentOfSpan(_)) => {
                item.coded(Encoding::U16, 10.0)
            }
            // A difference has no zero to be moved.
            Kind::Difference => Item {
                encoding: Encoding::I16,
                scale: match self.scale {
                    Scale::Fixed { per_unit, .. } => Scale::Fixed {
                        per_unit,
                        offset: 0.0,
                    },
                    Scale::Display => Scale::Display,
                },
                ..item
            },
            Kind::Percent => item.coded(Encoding::U16, self.percent.0),
            Kind::Time => item.coded(Encoding::U16, self.time.1),
            Kind::Rate => item.coded(Encoding::U16, 10.0),
            Kind::Count => item,
        }
    }

    fn float(&self, item: Item, unit: Unit) -> Item {
        let per_unit = match item.what.kind() {
            Kind::Percent => self.percent.1,
            Kind::Count => return item,
            _ => 1.0,
        };
        Item {
            unit,
            broken: self.broken,
            ..item.coded(Encoding::F32, per_unit)
        }
    }

    fn long_temperature(&self, item: Item) -> Item {
        let item = item.coded(Encoding::I32, 1000.0);
        match self.broken {
            Broken::Raw(_) => item.broken(0x7FFF_FFFF),
            Broken::Top => item,
        }
    }

    fn short_temperature(&self, item: Item) -> Item {
        let encoding = match self.scale {
            Scale::Fixed { offset, .. } if offset < 0.0 => Encoding::U16,
            _ => Encoding::I16,
        };
        Item {
            encoding,
            scale: self.scale,
            broken: self.broken,
            ..item
        }
    }

    fn unit_of(&self, what: What) -> Unit {
        match what.kind() {
            Kind::Temperature => self.temperature,
            Kind::Difference if what == What::Deviation => self.temperature,
            Kind::Difference => self.band,
            Kind::Time => self.time.0,
            Kind::Rate if self.temperature == Unit::DegF => Unit::DegFPerMinute,
            kind @ (Kind::Rate | Kind::Percent | Kind::Count) => kind.unit(),
        }
    }
}

/// Of a temperature in one word: so that the whole range of the input fits.
fn scale(dice: &mut Dice, family: Family, temperature: Unit) -> Scale {
    if family == Family::Short && dice.percent(25) {
        return Scale::Display;
    }
    let per_unit = dice.one_of(&[1.0, 10.0, 10.0, 10.0, 4.0]);
    let below_zero = if temperature == Unit::DegF {
        -400.0
    } else {
        -200.0
    };
    Scale::Fixed {
        per_unit,
        offset: if dice.percent(15) { below_zero } else { 0.0 },
    }
}

fn broken(dice: &mut Dice, family: Family, scale: Scale) -> Broken {
    let raw = match (family, scale) {
        _ if dice.percent(20) => return Broken::Top,
        (Family::Floats, _) => dice.one_of(&[0x7FC0_0000, (-999.0_f32).to_bits()]),
        (_, Scale::Fixed { offset, .. }) if offset < 0.0 => dice.one_of(&[0xFFFF, 65_000]),
        _ => dice.one_of(&[
            0x7FFF,
            0x8000,
            30_000,
            u32::from((-9999_i16).cast_unsigned()),
        ]),
    };
    Broken::Raw(raw)
}

/// Two manuals in five leave something out.
fn says(dice: &mut Dice) -> Says {
    let is_complete = dice.percent(60);
    let mut says = || is_complete || dice.percent(50);
    Says {
        numbering: says(),
        order: says(),
        first_bit: says(),
        signs: says(),
    }
}
