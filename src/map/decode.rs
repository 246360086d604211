//! From words to readings.

use std::sync::Arc;

use rust_decimal::prelude::ToPrimitive;

use super::column::plain_unit;
use super::image::Image;
use super::model::{Encoding, Map, Point, Refresh, Scaling, UnitOf};
use super::scale::{Scale, double, single, whole_scaled};
use crate::number::Number;
use crate::sample::{Fault, Reading, Units, Why};
use crate::unit::Degrees;

/// The largest number of decimals a decimal-point register can give; more is a fault.
pub const MOST_DECIMALS: u8 = 9;

/// Why a point cannot be scaled: the point that gives its decimals has no value.
pub(super) enum NoScale {
    Absent(Why),
    Fault(Arc<str>),
}

impl Map {
    /// What a point says, from what came from the line.
    ///
    /// Whole numbers stay exact; a floating-point register that is not scaled keeps its width.
    /// Words that cannot be a value (a fault value, outside the valid range, not a number, an
    /// impossible number of decimals) are a [`Fault`] with the words kept.
    pub fn read(&self, point: &Point, image: &Image) -> Reading {
        let Some(words) = image.raw(&point.place) else {
            return Reading::Absent(image.why_absent(&point.place));
        };
        let value = match self.scale(point, image) {
            Ok(scale) => point.value(point.raw(&words), scale),
            Err(NoScale::Absent(why)) => return Reading::Absent(why),
            Err(NoScale::Fault(meaning)) => Err(meaning),
        };
        let value = value
            .and_then(|number| self.within_limits(point, number, image))
            .and_then(|number| self.without_fault(point, number, image));
        match value {
            Ok(number) => Reading::Good(number),
            Err(meaning) => Reading::Fault(Fault {
                meaning,
                raw: words,
            }),
        }
    }

    /// The number, unless it is outside the valid range in the unit of the moment.
    fn within_limits(
        &self,
        point: &Point,
        number: Number,
        image: &Image,
    ) -> Result<Number, Arc<str>> {
        let Some((low, high)) = point.valid else {
            return Ok(number);
        };
        let unit = self.unit_of(point, image);
        let now = unit.as_deref().and_then(Degrees::from_word);
        let in_now = |limit: f64| match (point.limits_in, now) {
            (Some(written), Some(now)) => written.convert_f64(limit, now, point.quantity),
            _ => limit,
        };
        if (in_now(low)..=in_now(high)).contains(&number.as_f64()) {
            return Ok(number);
        }
        let unit = point.limits_in.map(|unit| format!(" {}", unit.word()));
        let unit = unit.unwrap_or_default();
        Err(format!("outside the valid range {low} to {high}{unit}").into())
    }

    /// The number, unless a status point says that it is none.
    fn without_fault(
        &self,
        point: &Point,
        number: Number,
        image: &Image,
    ) -> Result<Number, Arc<str>> {
        let givers = point.fault_from.iter().filter_map(|name| self.point(name));
        for giver in givers {
            let status = self.read(giver, image);
            if self.is_active(giver, &status) == Some(true) {
                let said = status.number().and_then(|status| giver.in_words(status));
                return Err(said.unwrap_or(giver.name.as_str()).into());
            }
        }
        Ok(number)
    }

    /// How the point is scaled at present.
    pub(super) fn scale(&self, point: &Point, image: &Image) -> Result<Scale, NoScale> {
        let Scaling::DecimalsFrom(name) = &point.scaling else {
            return point.scaling.fixed().ok_or(NoScale::Absent(Why::Skipped));
        };
        let giver = self.point(name).ok_or(NoScale::Absent(Why::Skipped))?;
        decimals_of(&self.read(giver, image)).map(Scale::Decimals)
    }

    /// The unit of each point that is read this often, as far as the image tells; fixed ones always.
    pub fn units(&self, refresh: Refresh, image: &Image) -> Units {
        let points = self.points.iter().filter(|point| point.refresh == refresh);
        points.map(|point| self.unit_of(point, image)).collect()
    }

    /// The unit a point's value has at present; `None` without one, or while the point that gives
    /// it has no value or one without a name.
    pub fn unit_of(&self, point: &Point, image: &Image) -> Option<Arc<str>> {
        match &point.unit {
            UnitOf::None => None,
            UnitOf::Fixed(unit) => Some(Arc::clone(unit)),
            UnitOf::From(name) => {
                let giver = self.point(name)?;
                let reading = self.read(giver, image);
                giver.name_of(&reading).map(plain_unit).map(Arc::from)
            }
        }
    }
}

fn decimals_of(reading: &Reading) -> Result<u8, NoScale> {
    match reading {
        Reading::Absent(why) => Err(NoScale::Absent(*why)),
        Reading::Fault(fault) => Err(NoScale::Fault(
            format!("number of decimals: {}", fault.meaning).into(),
        )),
        Reading::Good(number) => whole(*number)
            .and_then(|n| u8::try_from(n).ok())
            .filter(|n| *n <= MOST_DECIMALS)
            .ok_or_else(|| {
                NoScale::Fault(format!("impossible number of decimals ({number})").into())
            }),
    }
}

/// A number as a whole number, if it is one.
pub(super) fn whole(number: Number) -> Option<i64> {
    match number {
        Number::Decimal(decimal) if decimal.is_integer() => decimal.to_i64(),
        Number::Single(single) if single.fract() == 0.0 => single.to_i64(),
        Number::Double(double) if double.fract() == 0.0 => double.to_i64(),
        _ => None,
    }
}

impl Point {
    /// The value of a raw value, or what is wrong with it.
    fn value(&self, raw: u64, scale: Scale) -> Result<Number, Arc<str>> {
        if let Some(fault) = self.faults.iter().find(|fault| fault.raw == raw) {
            return Err(Arc::clone(&fault.meaning));
        }
        Ok(match self.encoding {
            Encoding::F32 if self.bits.is_none() => single(f32::from_bits(raw as u32), scale)?,
            Encoding::F64 if self.bits.is_none() => double(f64::from_bits(raw), scale)?,
            _ => Number::Decimal(whole_scaled(self.shape().signed(raw), scale)?),
        })
    }
}

#[cfg(test)]
mod tests {
    use super::*;
    use crate::map::{Address, Table};

    fn read(keys: &str, words: &[u16]) -> Reading {
        let text = format!(
            "schema = 1\ntitle = \"t\"\n[points.pv]\nrole = \"process-value\"\n\
             table = \"input\"\naddress = 0\n{keys}\n\
             [points.places]\nrole = \"decimal-point\"\ntable = \"holding\"\naddress = 0\n\
             encoding = \"u16\"\nrefresh = \"settings\"\n"
        );
        let map = Map::parse(&text, "t.toml").unwrap_or_else(|errors| panic!("{errors}"));
        let mut image = Image::default();
        image.put_words(Table::Input, Address(0), words);
        image.put_words(Table::Holding, Address(0), &[words[0]]);
        map.read(&map.points[0], &image)
    }

    fn shown(keys: &str, words: &[u16]) -> String {
        match read(keys, words) {
            Reading::Fault(fault) => {
                assert_eq!(fault.raw, words, "the raw words are kept");
                format!("fault: {}", fault.meaning)
            }
            reading => reading.to_string(),
        }
    }

    #[test]
    fn whole_numbers_keep_exactly_the_decimals_of_the_map() {
        assert_eq!(shown("encoding = 'i16'\nscale = 0.1", &[253]), "25.3");
        assert_eq!(shown("encoding = 'i16'\nscale = 0.1", &[0xFFFF]), "-0.1");
        assert_eq!(shown("encoding = 'i16'\nscale = 0.1", &[250]), "25.0");
        assert_eq!(shown("encoding = 'u16'\ndecimals = 2", &[0xFFFF]), "655.35");
        assert_eq!(
            shown("encoding = 'u16'\nscale = 1.8\noffset = 32", &[100]),
            "212.0"
        );
        let most = [0xFFFF; 4];
        assert_eq!(
            shown("encoding = 'u64'", &most),
            u64::MAX.to_string(),
            "no digit is lost"
        );
        assert_eq!(shown("encoding = 'i64'\nscale = 0.001", &most), "-0.001");
    }

    #[test]
    fn floats_keep_their_width_until_they_are_scaled() {
        // 25.3 as the nearest f32 is 0x41CA6666.
        let words = [0x41CA, 0x6666];
        let single = read("encoding = 'f32'", &words);
        assert_eq!(single, Reading::Good(Number::Single(25.3)));
        assert_eq!(shown("encoding = 'f32'\nscale = 10", &words), "253.0");
        assert_eq!(shown("encoding = 'f32'\ndecimals = 0", &words), "25");
        let low_first = "encoding = 'f32'\nword_order = 'low-first'";
        assert_eq!(shown(low_first, &[0x6666, 0x41CA]), "25.3");
        let swapped = "encoding = 'f32'\nbyte_order = 'low-first'";
        assert_eq!(shown(swapped, &[0xCA41, 0x6666]), "25.3");
        assert_eq!(shown("encoding = 'f32'", &[0x8000, 0]), "0");
        assert_eq!(shown("encoding = 'f32'\ndecimals = 1", &[0, 1]), "0.0");
    }

    #[test]
    fn what_cannot_be_a_value_is_a_fault_with_its_words() {
        let nan = shown("encoding = 'f32'", &[0x7FC0, 0]);
        assert_eq!(nan, "fault: not a number");
        let infinite = shown("encoding = 'f32'\ndecimals = 1", &[0xFF80, 0]);
        assert_eq!(infinite, "fault: an infinite number");
        let named = "encoding = 'i16'\nfaults = { '0x7FFF' = 'sensor open' }";
        assert_eq!(shown(named, &[0x7FFF]), "fault: sensor open");
        let float = "encoding = 'f32'\nfaults = { '-999.0' = 'sensor open' }";
        assert_eq!(shown(float, &[0xC479, 0xC000]), "fault: sensor open");
        let valid = "encoding = 'i16'\nvalid = [-20.0, 1300.0]";
        assert_eq!(shown(valid, &[1300]), "1300");
        assert_eq!(
            shown(valid, &[1301]),
            "fault: outside the valid range -20 to 1300"
        );
    }

    #[test]
    fn a_silly_number_of_decimals_is_a_fault() {
        let keys = "encoding = 'i16'\ndecimals_from = 'places'";
        assert_eq!(shown(keys, &[2]), "0.02");
        assert_eq!(
            shown(keys, &[250]),
            "fault: impossible number of decimals (250)"
        );
    }

    #[test]
    fn a_part_of_a_word_is_a_number_of_its_own() {
        assert_eq!(shown("bits = '4..7'", &[0xABCD]), "12");
        assert_eq!(shown("encoding = 'u16'\nbit = 15", &[0x8000]), "1");
        assert_eq!(shown("encoding = 'u32'\nbit = 16", &[1, 0]), "1");
    }
}
