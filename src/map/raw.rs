//! Between the words of the line and one raw value of up to 64 bits.

use super::model::{Bits, ByteOrder, Encoding, Point, WordOrder};

impl Encoding {
    /// How many registers it takes; a bit of a bit table counts as one.
    pub fn words(self) -> u16 {
        match self {
            Self::Bit | Self::U16 | Self::I16 => 1,
            Self::U32 | Self::I32 | Self::F32 => 2,
            Self::U64 | Self::I64 | Self::F64 => 4,
        }
    }

    /// How many bits its raw value has.
    pub fn width(self) -> u8 {
        match self {
            Self::Bit => 1,
            Self::U16 | Self::I16 => 16,
            Self::U32 | Self::I32 | Self::F32 => 32,
            Self::U64 | Self::I64 | Self::F64 => 64,
        }
    }

    /// Whether the raw value is a signed whole number.
    pub fn is_signed(self) -> bool {
        matches!(self, Self::I16 | Self::I32 | Self::I64)
    }

    /// Whether the raw value is a floating-point number.
    pub fn is_float(self) -> bool {
        matches!(self, Self::F32 | Self::F64)
    }
}

impl Bits {
    /// The part of a raw value it stands for.
    pub fn of(self, raw: u64) -> u64 {
        raw.checked_shr(self.lowest.into()).unwrap_or(0) & mask(self.count)
    }

    /// `raw` with this part replaced.
    pub fn put(self, raw: u64, part: u64) -> u64 {
        let shift = u32::from(self.lowest);
        let hole = mask(self.count).checked_shl(shift).unwrap_or(0);
        let filled = (part & mask(self.count)).checked_shl(shift).unwrap_or(0);
        (raw & !hole) | filled
    }
}

/// The lowest `width` bits.
pub(super) fn mask(width: u8) -> u64 {
    match width {
        64.. => u64::MAX,
        _ => (1 << width) - 1,
    }
}

/// How a raw value is laid out: an encoding, or a run of bits in one.
#[derive(Clone, Copy, Debug, PartialEq, Eq)]
pub(super) struct Shape {
    pub(super) encoding: Encoding,
    pub(super) bits: Option<Bits>,
}

impl Shape {
    /// How many bits the raw value has.
    pub(super) fn width(self) -> u8 {
        self.bits.map_or(self.encoding.width(), |bits| bits.count)
    }

    /// Whether the raw value is a floating-point number.
    pub(super) fn is_float(self) -> bool {
        self.bits.is_none() && self.encoding.is_float()
    }

    fn is_signed(self) -> bool {
        self.bits.is_none() && self.encoding.is_signed()
    }

    /// The least and the greatest whole number it holds.
    pub(super) fn limits(self) -> (i128, i128) {
        let values = 1_i128 << self.width();
        let low = if self.is_signed() { -values / 2 } else { 0 };
        (low, low + values - 1)
    }

    /// A raw value as the whole number it stands for.
    pub(super) fn signed(self, raw: u64) -> i128 {
        let width = self.width();
        let is_negative = self.is_signed() && raw >> (width - 1) & 1 == 1;
        i128::from(raw) - if is_negative { 1_i128 << width } else { 0 }
    }

    /// The raw value of a whole number; `None` when it does not fit.
    pub(super) fn unsigned(self, number: i128) -> Option<u64> {
        let (low, high) = self.limits();
        (low..=high)
            .contains(&number)
            .then(|| number as u64 & mask(self.width()))
    }
}

impl Point {
    pub(super) fn shape(&self) -> Shape {
        Shape {
            encoding: self.encoding,
            bits: self.bits,
        }
    }

    /// The raw value of these words, as an unsigned number.
    pub fn raw(&self, words: &[u16]) -> u64 {
        let whole = self.join(words);
        self.bits.map_or(whole, |bits| bits.of(whole))
    }

    /// All bits of the words, those of other points included.
    pub(super) fn join(&self, words: &[u16]) -> u64 {
        join(words, self.word_order, self.byte_order)
    }

    /// The words of a raw value; the inverse of [`join`](Self::join).
    pub(super) fn split(&self, raw: u64) -> Vec<u16> {
        let low_first = (0..self.encoding.words())
            .map(|word| ordered((raw >> (16 * word)) as u16, self.byte_order));
        match self.word_order {
            WordOrder::LowFirst => low_first.collect(),
            WordOrder::HighFirst => low_first.rev().collect(),
        }
    }
}

/// The bits of these words in the order that gives them their weight.
pub(super) fn join(words: &[u16], word_order: WordOrder, byte_order: ByteOrder) -> u64 {
    let in_order: &mut dyn Iterator<Item = &u16> = match word_order {
        WordOrder::HighFirst => &mut words.iter(),
        WordOrder::LowFirst => &mut words.iter().rev(),
    };
    in_order.fold(0, |raw, word| {
        raw << 16 | u64::from(ordered(*word, byte_order))
    })
}

fn ordered(word: u16, order: ByteOrder) -> u16 {
    match order {
        ByteOrder::HighFirst => word,
        ByteOrder::LowFirst => word.swap_bytes(),
    }
}
