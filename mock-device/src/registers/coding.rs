//! Between numbers, raw numbers of 16 or 32 bits, and words.

/// How a raw number is laid out.
#[derive(Clone, Copy, Debug, PartialEq, Eq)]
#[expect(missing_docs, reason = "the usual names of the types")]
pub enum Encoding {
    Bit,
    U16,
    I16,
    U32,
    I32,
    F32,
}

/// How the words and bytes of a 32-bit value are sent; the standard's own way is neither.
#[derive(Clone, Copy, Debug, Default, PartialEq, Eq)]
pub struct Order {
    /// The low word at the lower address.
    pub low_word_first: bool,
    /// The low byte of each word first.
    pub low_byte_first: bool,
}

/// A run of bits of a word.
#[derive(Clone, Copy, Debug, PartialEq, Eq)]
pub struct Part {
    /// The lowest, counted from 0.
    pub lowest: u8,
    /// How many.
    pub count: u8,
}

impl Part {
    fn mask(self) -> u16 {
        u16::MAX >> (16 - self.count)
    }

    /// These bits of a word.
    pub(super) fn of(self, word: u16) -> u16 {
        word >> self.lowest & self.mask()
    }

    /// A word with nothing but this number in these bits.
    pub(super) fn put(self, number: u16) -> u16 {
        (number & self.mask()) << self.lowest
    }
}

impl Encoding {
    /// How many addresses it takes.
    pub const fn words(self) -> u16 {
        match self {
            Self::Bit | Self::U16 | Self::I16 => 1,
            Self::U32 | Self::I32 | Self::F32 => 2,
        }
    }

    /// The raw number of a number; what lies beyond is cut, and a whole number is the nearest.
    pub(super) fn raw(self, number: f64) -> u32 {
        match self {
            Self::Bit => u32::from(number > 0.0),
            // These conversions stop at the ends of the type.
            Self::U16 => u32::from(number.round() as u16),
            Self::I16 => u32::from((number.round() as i16).cast_unsigned()),
            Self::U32 => number.round() as u32,
            Self::I32 => (number.round() as i32).cast_unsigned(),
            Self::F32 => (number as f32).to_bits(),
        }
    }

    /// The number a raw number is.
    pub(super) fn number(self, raw: u32) -> f64 {
        match self {
            Self::Bit | Self::U16 | Self::U32 => raw.into(),
            Self::I16 => (raw as u16).cast_signed().into(),
            Self::I32 => raw.cast_signed().into(),
            // The decimal number a person meant: 0.1 sent as a 32-bit float is 0.1, not
            // 0.10000000149.
            Self::F32 => f32::from_bits(raw).to_string().parse().unwrap_or(f64::NAN),
        }
    }

    /// A raw number as a manual prints it.
    pub(super) fn shown(self, raw: u32) -> String {
        match (self, self.number(raw)) {
            (Self::F32, number) if number.is_nan() => "not a number".to_owned(),
            (_, number) => number.to_string(),
        }
    }

    /// The raw number next to this one, nearer to zero.
    pub(super) fn beside(self, raw: u32) -> u32 {
        match self {
            Self::Bit | Self::F32 => raw,
            Self::U16 | Self::I16 | Self::U32 | Self::I32 => {
                let number = self.number(raw);
                self.raw(number - number.signum())
            }
        }
    }

    /// The words of a raw number, in the order of their addresses; a short one has the first only.
    pub(super) fn words_of(self, raw: u32, order: Order) -> [u16; 2] {
        if self.words() == 1 {
            return [raw as u16, 0];
        }
        let (high, low) = ((raw >> 16) as u16, raw as u16);
        order.bytes(if order.low_word_first {
            [low, high]
        } else {
            [high, low]
        })
    }

    /// The raw number of words; the inverse of [`words_of`](Self::words_of).
    pub(super) fn joined(self, words: [u16; 2], order: Order) -> u32 {
        if self.words() == 1 {
            return words[0].into();
        }
        let [first, second] = order.bytes(words).map(u32::from);
        if order.low_word_first {
            second << 16 | first
        } else {
            first << 16 | second
        }
    }
}

impl Order {
    /// The words exchanged, the bytes of each as the standard has them.
    pub const LOW_WORD_FIRST: Self = Self {
        low_word_first: true,
        low_byte_first: false,
    };

    fn bytes(self, words: [u16; 2]) -> [u16; 2] {
        if self.low_byte_first {
            words.map(u16::swap_bytes)
        } else {
            words
        }
    }
}

#[cfg(test)]
mod tests {
    use super::*;

    const ALL: [Encoding; 6] = [
        Encoding::Bit,
        Encoding::U16,
        Encoding::I16,
        Encoding::U32,
        Encoding::I32,
        Encoding::F32,
    ];

    /// IEEE 754 single precision of 1.0 is 3F80 0000.
    #[test]
    fn a_float_goes_out_in_the_order_of_its_controller() {
        let raw = Encoding::F32.raw(1.0);
        for (low_word_first, low_byte_first, words) in [
            (false, false, [0x3F80, 0x0000]),
            (true, false, [0x0000, 0x3F80]),
            (false, true, [0x803F, 0x0000]),
            (true, true, [0x0000, 0x803F]),
        ] {
            let order = Order {
                low_word_first,
                low_byte_first,
            };
            assert_eq!(Encoding::F32.words_of(raw, order), words);
            assert_eq!(Encoding::F32.joined(words, order), raw);
        }
    }

    #[test]
    fn a_number_that_does_not_fit_stops_at_the_end_of_the_type() {
        assert_eq!(Encoding::I16.raw(1e6), 0x7FFF);
        assert_eq!(Encoding::I16.raw(-1e6), 0x8000);
        assert_eq!(Encoding::U16.raw(-1.0), 0);
        assert_eq!(Encoding::I32.raw(-1.0), 0xFFFF_FFFF);
    }

    #[test]
    fn the_neighbour_of_a_raw_number_is_nearer_to_zero() {
        assert_eq!(Encoding::I16.beside(0x7FFF), 0x7FFE);
        assert_eq!(Encoding::I16.beside(0x8000), 0x8001);
        assert_eq!(Encoding::U16.beside(0xFFFF), 0xFFFE);
        assert_eq!(Encoding::I32.beside(0x8000_0000), 0x8000_0001);
    }

    #[test]
    fn parts_of_a_word_do_not_disturb_each_other() {
        let (low, high) = (
            Part {
                lowest: 0,
                count: 4,
            },
            Part {
                lowest: 4,
                count: 12,
            },
        );
        let word = low.put(0xFFFA) | high.put(0x0123);
        assert_eq!((word, low.of(word), high.of(word)), (0x123A, 0xA, 0x123));
    }

    proptest::proptest! {
        #[test]
        fn words_joined_again_are_the_raw_number(raw: u32, word_order: bool, byte_order: bool) {
            let order = Order { low_word_first: word_order, low_byte_first: byte_order };
            for encoding in ALL {
                let raw = if encoding.words() == 1 { raw & 0xFFFF } else { raw };
                proptest::prop_assert_eq!(encoding.joined(encoding.words_of(raw, order), order), raw);
            }
        }
    }
}
