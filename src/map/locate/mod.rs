//! Which registers could be the number that a panel shows.
//!
//! Every place and every way of reading it that gives the shown number is a [`Candidate`]. A number
//! like 25.3 is in many registers by chance; when the panel shows another number, few of them follow.

mod likelihood;
mod snippet;

use std::fmt;
use std::str::FromStr;

use rust_decimal::prelude::FromPrimitive;
use rust_decimal::{Decimal, RoundingStrategy};
use serde::{Deserialize, Serialize};

pub use likelihood::likelihoods;
pub use snippet::snippet;

use super::image::Image;
use super::model::{Address, ByteOrder, Encoding, Place, Table, WordOrder};
use super::raw::{Shape, join};
use super::scale::{Scale, double, single, whole_scaled};
use crate::number::Number;

/// Powers of ten a whole number is tried with: panels have up to four decimals.
const OF_WHOLE: [i8; 5] = [0, -1, -2, -3, -4];
/// And a float: some controllers give an output as 0 to 1.
const OF_FLOAT: [i8; 2] = [0, 2];

/// What a panel shows, with its decimals: `25.3`, `-5`, `25,3`.
#[derive(Clone, Copy, Debug, PartialEq, Eq, Serialize, Deserialize)]
#[serde(try_from = "String", into = "String")]
pub struct Shown(Decimal);

impl TryFrom<String> for Shown {
    type Error = String;

    fn try_from(text: String) -> Result<Self, String> {
        text.parse()
    }
}

impl From<Shown> for String {
    fn from(shown: Shown) -> Self {
        shown.to_string()
    }
}

impl FromStr for Shown {
    type Err = String;

    fn from_str(text: &str) -> Result<Self, String> {
        Decimal::from_str_exact(&text.trim().replace(',', "."))
            .map(Self)
            .map_err(|_| format!("{text:?} is no number as a panel shows it, for example 25.3"))
    }
}

impl fmt::Display for Shown {
    fn fmt(&self, f: &mut fmt::Formatter<'_>) -> fmt::Result {
        self.0.fmt(f)
    }
}

impl Shown {
    /// Its decimals.
    pub fn decimals(self) -> u32 {
        self.0.scale()
    }

    /// One step of its last digit.
    pub fn step(self) -> Decimal {
        Decimal::new(1, self.decimals())
    }
}

/// A place and a way of reading it.
#[derive(Clone, Copy, Debug, PartialEq, Eq, Serialize, Deserialize)]
pub struct Candidate {
    /// The table.
    pub table: Table,
    /// The first address, as it goes over the wire.
    pub address: Address,
    /// How the words are read.
    pub encoding: Encoding,
    /// The order of its words.
    pub word_order: WordOrder,
    /// The order of the bytes in each word.
    pub byte_order: ByteOrder,
    /// The value is the number times ten to this.
    pub power: i8,
}

/// How well a value fits what is shown; the better, the less.
#[derive(Clone, Copy, Debug, PartialEq, Eq, PartialOrd, Ord, Serialize, Deserialize)]
#[serde(rename_all = "kebab-case")]
pub enum Fit {
    /// Digit by digit.
    Exact,
    /// It has more or fewer decimals than the panel shows, and agrees in those that both have.
    Rounded,
    /// It is off by no more than the value may have moved meanwhile.
    Near,
}

impl Candidate {
    /// The registers it takes.
    pub fn place(&self) -> Place {
        Place {
            table: self.table,
            address: self.address,
            count: self.encoding.words(),
        }
    }

    /// Its value in what was read; `None` if its words did not all come or are no number.
    pub fn value(&self, image: &Image) -> Option<Number> {
        let raw = join(&image.raw(&self.place())?, self.word_order, self.byte_order);
        let factor =
            Decimal::from_i128_with_scale(10_i128.pow(self.power.max(0).unsigned_abs().into()), 0);
        let scale = Scale::Linear {
            scale: factor,
            offset: Decimal::ZERO,
        };
        match self.encoding {
            Encoding::F32 => single(f32::from_bits(raw as u32), scale).ok(),
            Encoding::F64 => double(f64::from_bits(raw), scale).ok(),
            encoding => {
                let bits = None;
                let whole = Shape { encoding, bits }.signed(raw);
                let scale = Scale::Decimals(self.power.min(0).unsigned_abs());
                whole_scaled(whole, scale).ok().map(Number::Decimal)
            }
        }
    }

    /// How its value fits; `within` is how far the value may have moved while it was read.
    pub fn fit(&self, image: &Image, shown: Shown, within: Decimal) -> Option<Fit> {
        let value = match self.value(image)? {
            Number::Decimal(decimal) => decimal,
            float => Decimal::from_f64(float.as_f64())?,
        };
        // The panel or the register may have the fewer decimals.
        let decimals = shown.decimals().min(value.scale());
        let cut = |strategy| {
            let short = |number: Decimal| number.round_dp_with_strategy(decimals, strategy);
            short(value) == short(shown.0)
        };
        let is_cut = cut(RoundingStrategy::MidpointAwayFromZero) || cut(RoundingStrategy::ToZero);
        if value == shown.0 {
            Some(Fit::Exact)
        } else if is_cut {
            Some(Fit::Rounded)
        } else {
            ((value - shown.0).abs() <= within).then_some(Fit::Near)
        }
    }
}

/// Every candidate among the registers of `places` that fits what is shown, with how.
///
/// Of readings that give the same number the simpler stands for all: a signed register for an
/// unsigned one whose value is small, high byte first for bytes that are equal.
pub fn candidates(
    image: &Image,
    places: &[Place],
    shown: Shown,
    within: Decimal,
) -> Vec<(Candidate, Fit)> {
    let mut fitting = Vec::new();
    let starts = places
        .iter()
        .flat_map(|place| place.addresses().map(|address| (place.table, address)));
    for (table, address) in starts {
        let mut raws = Vec::new();
        for candidate in readings(table, address) {
            let Some(fit) = candidate.fit(image, shown, within) else {
                continue;
            };
            let same = (candidate.encoding.width(), candidate.value(image));
            if !raws.contains(&same) {
                raws.push(same);
                fitting.push((candidate, fit));
            }
        }
    }
    fitting
}

/// Every way of reading what begins at an address, simple ones first.
fn readings(table: Table, address: Address) -> impl Iterator<Item = Candidate> {
    use Encoding::{F32, F64, I16, I32, I64, U16, U32, U64};
    let encodings = [I16, U16, F32, I32, U32, F64, I64, U64];
    encodings.into_iter().flat_map(move |encoding| {
        let powers = if encoding.is_float() {
            &OF_FLOAT[..]
        } else {
            &OF_WHOLE[..]
        };
        orders(encoding).flat_map(move |(word_order, byte_order)| {
            powers.iter().map(move |power| Candidate {
                table,
                address,
                encoding,
                word_order,
                byte_order,
                power: *power,
            })
        })
    })
}

fn orders(encoding: Encoding) -> impl Iterator<Item = (WordOrder, ByteOrder)> {
    let word_orders = if encoding.words() == 1 {
        &[WordOrder::HighFirst][..]
    } else {
        &[WordOrder::HighFirst, WordOrder::LowFirst]
    };
    [ByteOrder::HighFirst, ByteOrder::LowFirst]
        .into_iter()
        .flat_map(move |bytes| word_orders.iter().map(move |words| (*words, bytes)))
}

#[cfg(test)]
mod tests {
    use super::*;

    fn found(words: &[u16], shown: &str) -> Vec<(u16, Encoding, i8, Fit)> {
        let mut image = Image::default();
        image.put_words(Table::Holding, Address(0), words);
        let place = Place {
            table: Table::Holding,
            address: Address(0),
            count: words.len() as u16,
        };
        let shown: Shown = shown.parse().unwrap();
        candidates(&image, &[place], shown, shown.step())
            .into_iter()
            .map(|(it, fit)| (it.address.0, it.encoding, it.power, fit))
            .collect()
    }

    #[test]
    fn a_number_is_found_in_each_encoding() {
        assert_eq!(
            found(&[9, 253], "25.3"),
            [(1, Encoding::I16, -1, Fit::Exact)]
        );
        assert_eq!(
            found(&[9, 0xFFCE], "-5,0"),
            [(1, Encoding::I16, -1, Fit::Exact)]
        );
        // 25.3 as the nearest f32 is 0x41CA6666 (IEEE 754).
        let float = (0, Encoding::F32, 0, Fit::Exact);
        assert_eq!(found(&[0x41CA, 0x6666], "25.3"), [float]);
        assert_eq!(found(&[0x6666, 0x41CA], "25.3"), [float]);
        assert_eq!(found(&[0xCA41, 0x6666], "25.3"), [float]);
        assert_eq!(
            found(&[0xFFFF, 0xFFCE], "-5.0")[0],
            (0, Encoding::I32, -1, Fit::Exact)
        );
        assert_eq!(found(&[5100], "51.0"), [(0, Encoding::I16, -2, Fit::Exact)]);
    }

    #[test]
    fn a_value_with_more_decimals_than_the_panel_and_one_that_has_moved_fit_too() {
        assert_eq!(
            found(&[25_34], "25.3"),
            [(0, Encoding::I16, -2, Fit::Rounded)]
        );
        assert_eq!(
            found(&[25_39], "25.3")[0].3,
            Fit::Rounded,
            "some panels cut digits off"
        );
        assert_eq!(found(&[254], "25.3"), [(0, Encoding::I16, -1, Fit::Near)]);
        assert_eq!(found(&[255], "25.3"), []);
        let coarse = (0, Encoding::I16, 0, Fit::Rounded);
        assert_eq!(found(&[490], "490.4"), [coarse]);
    }

    #[test]
    fn an_output_from_0_to_1_is_a_percentage() {
        // 0.4 as the nearest f32 is 0x3ECCCCCD (IEEE 754).
        let output = (0, Encoding::F32, 2, Fit::Exact);
        assert_eq!(found(&[0x3ECC, 0xCCCD], "40.0"), [output]);
    }

    #[test]
    fn what_is_no_number_is_no_candidate() {
        assert_eq!(found(&[0x7FC0, 0], "25.3"), []);
        assert!("25.3 degC".parse::<Shown>().is_err());
        assert!("".parse::<Shown>().is_err());
    }
}
