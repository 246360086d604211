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
    fn a_value_whose_decimals_another_point_gives_is_written_as_it_was_read(
        (shape, count) in shape(),
        decimals in 0..=9_u16,
        words in prop::array::uniform4(any::<u16>()),
    ) {
        let text = format!(
            "{shape}decimals_from = \"places\"\n[points.places]\nrole = \"decimal-point\"\n\
             table = \"input\"\naddress = 9\nencoding = \"u16\""
        );
        let map = map(&text);
        let mut image = image(&words[..count]);
        image.put_words(Table::Input, Address(9), &[decimals]);
        let reading = map.read(&map.points[0], &image);
        if let Some(number) = reading.number() {
            let shown = number.to_string();
            let places = shown.split_once('.').map_or(0, |(_, places)| places.len());
            let is_float = shape.contains("f32") || shape.contains("f64");
            prop_assert!(places == usize::from(decimals) || is_float, "{}", shown);
            let written = map.encode(&map.points[0], number, &image).unwrap();
            image.put_words(Table::Input, Address(0), &written);
            let again = map.read(&map.points[0], &image);
            prop_assert_eq!(again, reading);
            prop_assert!(is_float || written == words[..count]);
        }
    }

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
    assert!(point.is_off(hand.number().unwrap()));
    let other = read(&map, &[5]);
    assert_eq!(map.meaning(point, &other), None);
    assert_eq!(point.name_of(&other), None);
    assert!(!point.is_off(other.number().unwrap()));
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

/// The examples of the Modbus application protocol V1.1b3 (from memory): "discrete outputs 20-38"
/// are asked for as 00 13 (6.1), "discrete inputs 197-218" as 00 C4 (6.2), "registers 108-110" as
/// 00 6B (6.3), "input register 9" as 00 08 (6.4); its data model numbers the items of each table
/// from 1 (4.4). A reference is such a number behind the digit of its table.
#[test]
fn the_three_ways_of_numbering_give_the_addresses_of_the_standards_examples() {
    for (table, number, wire) in [
        (Table::Coil, 20_u32, 0x0013_u16),
        (Table::Discrete, 197, 0x00C4),
        (Table::Holding, 108, 0x006B),
        (Table::Input, 9, 0x0008),
    ] {
        let encoding = if table.is_bits() { "bit" } else { "u16" };
        let address = |access: &str, keys: String| {
            let text = format!(
                "schema = 1\ntitle = \"t\"\n[access]\naddresses = \"{access}\"\n[points.p]\n\
                 role = \"other\"\nencoding = \"{encoding}\"\n{keys}\n"
            );
            let map = Map::parse(&text, "t.toml").unwrap();
            (map.points[0].place.table, map.points[0].place.address)
        };
        let word = table.word();
        let expected = (table, Address(wire));
        let digit = match table {
            Table::Coil => 0,
            Table::Discrete => 1,
            Table::Input => 3,
            Table::Holding => 4,
        };
        let plain = |number: u32| format!("table = \"{word}\"\naddress = {number}");
        assert_eq!(address("zero-based", plain(wire.into())), expected);
        assert_eq!(address("one-based", plain(number)), expected);
        for width in [4, 5] {
            let reference = format!("address = \"{digit}{number:0width$}\"");
            assert_eq!(address("reference", reference), expected);
        }
    }
}

/// A map whose process value has a unit and a status that can change.
fn switchable(keys: &str) -> Map {
    let text = format!(
        "schema = 1\ntitle = \"t\"\n[points.pv]\nrole = \"process-value\"\ntable = \"input\"\n\
         address = 0\nencoding = \"i16\"\nunit_from = \"unit\"\n{keys}\n\
         [points.unit]\nrole = \"other\"\ntable = \"input\"\naddress = 1\nencoding = \"u16\"\n\
         names = {{ \"0\" = \"degC\", \"1\" = \"degF\" }}\n\
         [points.sensor]\nrole = \"fault\"\ntable = \"input\"\naddress = 2\nencoding = \"u16\"\n\
         bit = 3\n"
    );
    Map::parse(&text, "t.toml").unwrap()
}

#[test]
fn a_fault_bit_makes_the_value_faulty_and_its_words_are_kept() {
    let map = switchable("fault_from = \"sensor\"");
    assert_eq!(read(&map, &[250, 0, 0]).to_string(), "250");
    let Reading::Fault(fault) = read(&map, &[250, 0, 0b1000]) else {
        panic!("no fault");
    };
    assert_eq!(
        (&*fault.meaning, fault.raw.as_slice()),
        ("sensor", &[250][..])
    );
    let places = map.places_for(emberline::map::Refresh::Trend);
    assert_eq!(places.len(), 3, "the bit is read with the value");
}

#[test]
fn a_valid_range_follows_the_unit_and_a_difference_only_by_the_size_of_the_degrees() {
    let limits = "limits_in = \"degC\"\nvalid = [0.0, 100.0]\n";
    let is_good = |map: &Map, words: [u16; 3]| matches!(read(map, &words), Reading::Good(_));
    let temperature = switchable(limits);
    // 212 degF are 100 degC, 32 degF are 0 degC.
    assert!(is_good(&temperature, [100, 0, 0]) && !is_good(&temperature, [101, 0, 0]));
    assert!(is_good(&temperature, [212, 1, 0]) && !is_good(&temperature, [213, 1, 0]));
    assert!(is_good(&temperature, [32, 1, 0]) && !is_good(&temperature, [31, 1, 0]));
    let difference = switchable(&format!("{limits}difference = true"));
    assert!(is_good(&difference, [180, 1, 0]) && !is_good(&difference, [181, 1, 0]));
    assert!(is_good(&difference, [0, 1, 0]));
    let Reading::Fault(fault) = read(&difference, &[181, 1, 0]) else {
        panic!("no fault");
    };
    assert_eq!(&*fault.meaning, "outside the valid range 0 to 100 degC");
}

#[test]
fn an_exact_number_is_the_same_text_in_json_as_in_a_recording() {
    for (decimals, raw, text) in [
        (1, 253_i32, "25.3"),
        (3, -100_000, "-100.000"),
        (0, 7, "7"),
        (9, 1, "0.000000001"),
    ] {
        let map = map(&format!("encoding = \"i32\"\ndecimals = {decimals}"));
        let words = [(raw >> 16) as u16, raw as u16];
        let number = read(&map, &words).number().unwrap();
        assert_eq!(number.to_string(), text);
        assert_eq!(
            serde_json::json!({ "value": number }).to_string(),
            format!("{{\"value\":{text}}}")
        );
    }
}
