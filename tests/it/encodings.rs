//! Registers to values and back, against IEEE 754 and by laws.

use std::cmp::Ordering;

use emberline::map::{Address, Image, Map, Meaning, Place, Table};
use emberline::number::Number;
use emberline::sample::Reading;
use proptest::prelude::*;

/// A map with one point `pv` at input register 0, with these keys.
fn map(keys: &str) -> Map {
    let text = format!(
        "schema = 1\ntitle = \"t\"\n[points.pv]\nrole = \"process-value\"\n\
         table = \"input\"\naddress = 0\n{keys}\n"
    );
    Map::parse(&text, "t.toml").unwrap()
}

fn image(words: &[u16]) -> Image {
    let mut image = Image::default();
    image.put_words(Table::Input, Address(0), words);
    image
}

fn read(map: &Map, words: &[u16]) -> Reading {
    map.read(&map.points[0], &image(words))
}

fn encode(map: &Map, value: Number, before: &[u16]) -> Vec<u16> {
    map.encode(&map.points[0], value, &image(before)).unwrap()
}

/// The value of a binary interchange format by its definition (IEEE Std 754-2019, 3.4), computed
/// from the fields with nothing but powers of two.
fn by_definition(bits: u64, exponent_bits: i32, fraction_bits: i32) -> f64 {
    let fraction = (bits & ((1 << fraction_bits) - 1)) as f64 / 2_f64.powi(fraction_bits);
    let exponent = (bits >> fraction_bits & ((1 << exponent_bits) - 1)) as i32;
    let sign = if bits >> (exponent_bits + fraction_bits) == 1 {
        -1.0
    } else {
        1.0
    };
    let bias = (1 << (exponent_bits - 1)) - 1;
    let significand = if exponent == 0 {
        fraction
    } else {
        1.0 + fraction
    };
    // In two steps, because the smallest powers are subnormal themselves.
    let power = exponent.max(1) - bias;
    sign * significand * 2_f64.powi(power / 2) * 2_f64.powi(power - power / 2)
}

/// Bit patterns and decimal values as published for binary32 and binary64 in many places; typed
/// from memory, each agrees with the definition above.
const SINGLES: &[(u32, f32)] = &[
    (0x3F80_0000, 1.0),
    (0xC000_0000, -2.0),
    (0x3EAA_AAAB, 0.333_333_34),
    (0x4049_0FDB, std::f32::consts::PI),
    (0x41C8_0000, 25.0),
    (0x7F7F_FFFF, 3.402_823_5e38),
    (0x0080_0000, 1.175_494_4e-38),
    (0x0000_0001, 1e-45),
];
const DOUBLES: &[(u64, f64)] = &[
    (0x3FF0_0000_0000_0000, 1.0),
    (0x3FF0_0000_0000_0001, 1.000_000_000_000_000_2),
    (0xC000_0000_0000_0000, -2.0),
    (0x3FD5_5555_5555_5555, 0.333_333_333_333_333_3),
    (0x4009_21FB_5444_2D18, std::f64::consts::PI),
    (0x7FEF_FFFF_FFFF_FFFF, 1.797_693_134_862_315_7e308),
    (0x0010_0000_0000_0000, 2.225_073_858_507_201_4e-308),
];

#[test]
fn floats_read_as_the_standard_defines_them() {
    let (single, double) = (map("encoding = \"f32\""), map("encoding = \"f64\""));
    for &(bits, value) in SINGLES {
        let words = [(bits >> 16) as u16, bits as u16];
        assert_eq!(read(&single, &words), Reading::Good(Number::Single(value)));
        let defined = by_definition(bits.into(), 8, 23);
        assert_eq!(defined.to_bits(), f64::from(value).to_bits());
    }
    for &(bits, value) in DOUBLES {
        let words = [48, 32, 16, 0].map(|shift| (bits >> shift) as u16);
        assert_eq!(read(&double, &words), Reading::Good(Number::Double(value)));
        assert_eq!(by_definition(bits, 11, 52).to_bits(), value.to_bits());
    }
}

#[test]
fn every_16_bit_value_with_up_to_four_decimals_is_the_decimal_it_shows() {
    for decimals in 0..=4_u32 {
        let map = map(&format!("encoding = \"i16\"\ndecimals = {decimals}"));
        for raw in 0..=u16::MAX {
            let number = read(&map, &[raw]).number().unwrap();
            // The integer divided by the power of ten, both exact, is the nearest binary number.
            let nearest = f64::from(raw.cast_signed()) / f64::from(10_u32.pow(decimals));
            assert_eq!(number.as_f64().total_cmp(&nearest), Ordering::Equal);
            let shown = number.to_string();
            let places = shown.split_once('.').map_or(0, |(_, places)| places.len());
            assert_eq!(places, decimals as usize, "{shown}");
        }
    }
}

/// Keys of a point of any shape, and how many registers it takes.
fn shape() -> impl Strategy<Value = (String, usize)> {
    let encoding = prop::sample::select(vec![
        ("u16", 1),
        ("i16", 1),
        ("u32", 2),
        ("i32", 2),
        ("u64", 4),
        ("i64", 4),
        ("f32", 2),
        ("f64", 4),
    ]);
    let order = prop::sample::select(vec!["high-first", "low-first"]);
    (encoding, order.clone(), order).prop_map(|((encoding, count), words, bytes)| {
        let keys = format!(
            "encoding = \"{encoding}\"\nword_order = \"{words}\"\nbyte_order = \"{bytes}\"\n"
        );
        (keys, count)
    })
}

fn scaling() -> impl Strategy<Value = String> {
    prop_oneof![
        Just(String::new()),
        (0..=4_u8).prop_map(|decimals| format!("decimals = {decimals}")),
        (1..=999_i32, 0..=3_u32, -500..=500_i32).prop_map(|(digits, places, offset)| {
            let scale = f64::from(digits) / f64::from(10_u32.pow(places));
            format!("scale = {scale}\noffset = {offset}")
        }),
    ]
}

proptest! {
    #[test]
    fn a_value_written_as_it_was_read_reads_the_same(
        (shape, count) in shape(),
        scaling in scaling(),
        words in prop::array::uniform4(any::<u16>()),
    ) {
        let words = &words[..count];
        let map = map(&format!("{shape}{scaling}"));
        let reading = read(&map, words);
        // What is no number (NaN, infinity) cannot be written.
        if let Some(number) = reading.number() {
            let written = encode(&map, number, words);
            let is_float = shape.contains("f32") || shape.contains("f64");
            if !is_float {
                prop_assert_eq!(&written, words, "whole numbers come back bit by bit");
                prop_assert_eq!(read(&map, &written), reading);
            } else if scaling.is_empty() {
                prop_assert_eq!(read(&map, &written), reading);
            } else {
                let again = read(&map, &written).value().unwrap();
                let value = number.as_f64();
                // Scaled by way of a decimal: to the last digits of the register's own width.
                let places = if shape.contains("f32") { 1e-6 } else { 1e-14 };
                prop_assert!((again - value).abs() <= places * value.abs().max(1e3), "{again} {value}");
            }
        }
    }

    #[test]
    fn writing_a_part_of_a_word_leaves_the_rest_of_it_alone(
        low in 0..16_u8,
        more in 0..16_u8,
        before in any::<u16>(),
        value in any::<u16>(),
    ) {
        let high = (low + more).min(15);
        let mask = u16::MAX >> (15 - (high - low));
        let map = map(&format!("bits = \"{low}..{high}\""));
        let part = value & mask;
        let written = encode(&map, Number::Decimal(part.into()), &[before]);
        prop_assert_eq!(written[0] >> low & mask, part);
        prop_assert_eq!(written[0] & !(mask << low), before & !(mask << low));
        prop_assert_eq!(read(&map, &written).value(), Some(f64::from(part)));
    }
}

#[test]
fn a_value_between_two_raw_values_or_beyond_them_is_not_written() {
    let map = map("encoding = \"i16\"\nscale = 0.1");
    let refused = |text: &str| {
        let value = Number::Decimal(text.parse().unwrap());
        let error = map.encode(&map.points[0], value, &Image::default());
        error.unwrap_err().to_string()
    };
    assert_eq!(
        refused("25.35"),
        "25.35 has more decimals than the controller keeps here"
    );
    assert_eq!(refused("3276.8"), "3276.8 does not fit the registers (i16)");
}

#[test]
fn a_status_point_is_active_by_its_list_or_by_any_value_but_zero() {
    let word = |keys: &str, raw: u16| {
        let map = map(&format!("encoding = \"u16\"\n{keys}"));
        map.is_active(&map.points[0], &read(&map, &[raw]))
    };
    assert_eq!(word("", 0), Some(false));
    assert_eq!(word("", 7), Some(true));
    assert_eq!(word("active = [1, 2]", 2), Some(true));
    assert_eq!(word("active = [1, 2]", 3), Some(false));
    assert_eq!(word("bit = 4", 0x0010), Some(true));
    assert_eq!(word("faults = { \"7\" = \"no sensor\" }", 7), None);
}

#[test]
fn an_enumeration_has_its_meaning_its_name_and_its_off() {
    let keys = "encoding = \"i16\"\nmeans = { \"0\" = \"automatic\", \"-1\" = \"manual\" }\n\
                names = { \"0\" = \"AUTO\", \"0xFFFF\" = \"HAND\" }\noff = -1";
    let map = map(keys);
    let point = &map.points[0];
    let hand = read(&map, &[0xFFFF]);
    assert_eq!(map.meaning(point, &hand), Some(Meaning::Manual));
    assert_eq!(point.name_of(&hand), Some("HAND"));
    assert!(point.is_off(&hand));
    let other = read(&map, &[5]);
    assert_eq!(map.meaning(point, &other), None);
    assert_eq!(point.name_of(&other), None);
    assert!(!point.is_off(&other));
}

#[test]
fn the_unit_and_the_decimals_follow_the_points_that_give_them() {
    let text = "schema = 1\ntitle = \"t\"\n\
        [points.pv]\nrole = \"process-value\"\ntable = \"input\"\naddress = 0\n\
        encoding = \"i16\"\ndecimals_from = \"places\"\nunit_from = \"scale\"\n\
        [points.places]\nrole = \"decimal-point\"\ntable = \"holding\"\naddress = 5\n\
        encoding = \"u16\"\nrefresh = \"settings\"\n\
        [points.scale]\nrole = \"other\"\ntable = \"coil\"\naddress = 9\n\
        names = { \"0\" = \"degC\", \"1\" = \"degF\" }\nrefresh = \"settings\"\n";
    let map = Map::parse(text, "t.toml").unwrap();
    let pv = &map.points[0];
    let mut image = image(&[253]);
    image.put_words(Table::Holding, Address(5), &[1]);
    image.put_bits(Table::Coil, Address(9), &[true]);
    assert_eq!(map.read(pv, &image).to_string(), "25.3");
    assert_eq!(map.unit_of(pv, &image).as_deref(), Some("degF"));
    image.put_words(Table::Holding, Address(5), &[0]);
    image.put_bits(Table::Coil, Address(9), &[false]);
    assert_eq!(map.read(pv, &image).to_string(), "253");
    assert_eq!(map.unit_of(pv, &image).as_deref(), Some("degC"));

    let places = Place {
        table: Table::Holding,
        address: Address(5),
        count: 1,
    };
    image.put_failure(places, emberline::sample::Why::Damaged);
    let absent = Reading::Absent(emberline::sample::Why::Damaged);
    assert_eq!(
        map.read(pv, &image),
        absent,
        "no value without its decimals"
    );
}
