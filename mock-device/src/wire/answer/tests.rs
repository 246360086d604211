//! Worked examples of the standard, on a bench layout that holds what they assume, and refusals.

use super::*;
use crate::controller::{Settings, Tuning};
use crate::registers::{Annealer, Floats};

/// Holds the values of the examples in section 6 of the standard. What is written is kept as the
/// controller's setpoint so that a test sees that it arrived.
#[derive(Debug)]
struct Examples;

impl Layout for Examples {
    fn name(&self) -> &'static str {
        "examples"
    }

    fn map_text(&self) -> &'static str {
        ""
    }

    fn max_words(&self) -> u16 {
        125
    }

    fn echoes(&self) -> bool {
        true
    }

    fn has_words(&self, _table: Words) -> bool {
        true
    }

    fn has_bits(&self) -> bool {
        true
    }

    fn word(&self, _: &Controller, table: Words, address: u16) -> Option<u16> {
        match (table, address) {
            (Words::Holding, 0x6B) => Some(0x022B),
            (Words::Holding, 0x6C) => Some(0x0000),
            (Words::Holding, 0x6D) => Some(0x0064),
            (Words::Input, 0x08) => Some(0x000A),
            _ => None,
        }
    }

    fn bit(&self, _: &Controller, table: Bits, address: u16) -> Option<bool> {
        let (first, bytes) = match table {
            Bits::Coil => (0x13, [0xCD, 0x6B, 0x05]),
            Bits::Discrete => (0xC4, [0xAC, 0xDB, 0x35]),
        };
        let n = address.checked_sub(first)?;
        Some(bytes.get(usize::from(n / 8))? >> (n % 8) & 1 == 1)
    }

    fn write_words(&self, c: &mut Controller, first: u16, words: &[u16]) -> Result<(), Exception> {
        let sum: u16 = words.iter().sum();
        Ok(c.set_setpoint(f64::from(first) + f64::from(sum))?)
    }

    fn write_bit(&self, c: &mut Controller, address: u16, on: bool) -> Result<(), Exception> {
        let so_far = c.settings().setpoint;
        let added = if on { f64::from(address) } else { 0.0 };
        Ok(c.set_setpoint(so_far + added)?)
    }
}

fn controller() -> Controller {
    let settings = Settings::as_delivered(Tuning::new(28.0, 140.0, 35.0), 0.0);
    Controller::new(settings, 20.0, 0.0)
}

fn bytes(hex: &str) -> Vec<u8> {
    hex.split(' ')
        .map(|byte| u8::from_str_radix(byte, 16).unwrap())
        .collect()
}

fn ask(layout: &dyn Layout, c: &mut Controller, request: &str) -> Vec<u8> {
    answer(layout, c, &bytes(request))
}

/// Modbus application protocol V1.1b3, 6.1 to 6.12 (request and response pairs from memory of the
/// document, decoded and re-encoded with pymodbus 3.16.1).
#[test]
fn the_worked_examples_of_the_standard_are_answered_byte_for_byte() {
    for (request, response) in [
        ("01 00 13 00 13", "01 03 CD 6B 05"),
        ("02 00 C4 00 16", "02 03 AC DB 35"),
        ("03 00 6B 00 03", "03 06 02 2B 00 00 00 64"),
        ("04 00 08 00 01", "04 02 00 0A"),
        ("05 00 AC FF 00", "05 00 AC FF 00"),
        ("06 00 01 00 03", "06 00 01 00 03"),
        ("08 00 00 A5 37", "08 00 00 A5 37"),
        ("0F 00 13 00 0A 02 CD 01", "0F 00 13 00 0A"),
        ("10 00 01 00 02 04 00 0A 01 02", "10 00 01 00 02"),
    ] {
        let answered = ask(&Examples, &mut controller(), request);
        assert_eq!(answered, bytes(response), "{request}");
    }
}

#[test]
fn what_is_written_arrives_with_its_address() {
    let mut c = controller();
    ask(&Examples, &mut c, "10 00 01 00 02 04 00 0A 01 02");
    assert!((c.settings().setpoint - f64::from(1 + 0x0A + 0x102)).abs() < 1e-9);
    c.set_setpoint(0.0).unwrap();
    // CD 01 from coil 13 hex on: coils 0, 2, 3, 6, 7 and 8 of the block are on.
    ask(&Examples, &mut c, "0F 00 13 00 0A 02 CD 01");
    let sum = 6 * 0x13 + 2 + 3 + 6 + 7 + 8;
    assert!((c.settings().setpoint - f64::from(sum)).abs() < 1e-9);
}

#[test]
fn what_cannot_be_answered_is_refused_with_the_standards_code() {
    for (layout, request, refusal) in [
        (&Annealer as &dyn Layout, "03 00 00 00 09", "83 03"),
        (&Annealer, "03 00 00 00 00", "83 03"),
        (&Annealer, "03 00 05 00 02", "83 02"),
        (&Annealer, "03 FF FF 00 02", "83 02"),
        (&Annealer, "04 00 00 00 01", "84 01"),
        (&Annealer, "01 00 00 00 01", "81 01"),
        (&Annealer, "05 00 00 FF 00", "85 01"),
        (&Annealer, "06 00 01 7F FF", "86 03"),
        (&Annealer, "06 00 00 00 01", "86 02"),
        (&Annealer, "08 00 01 00 00", "88 01"),
        (&Annealer, "2B 0E 01 00", "AB 01"),
        (&Annealer, "03 00 00", "83 03"),
        (&Annealer, "10 00 14 00 02 03 00 01 00", "90 03"),
        (&Annealer, "10 00 14", "90 03"),
        (&Floats, "08 00 00 A5 37", "88 01"),
        (&Floats, "05 00 00 12 34", "85 03"),
        (&Floats, "05 00 09 FF 00", "85 02"),
        (&Floats, "0F 00 00 00 02 02 03 00", "8F 03"),
        (&Floats, "02 00 03 00 02", "82 02"),
    ] {
        let answered = ask(layout, &mut controller(), request);
        assert_eq!(answered, bytes(refusal), "{} {request}", layout.name());
    }
}

#[test]
fn a_block_with_one_bad_value_changes_nothing_at_all() {
    let mut c = controller();
    // Band 10.0 would be taken, an integral time of 65535 s is not.
    let refused = ask(&Annealer, &mut c, "10 00 14 00 02 04 00 64 FF FF");
    assert_eq!(refused, bytes("90 03"));
    assert_eq!(c.settings().tuning, Tuning::new(28.0, 140.0, 35.0));
}

#[test]
fn an_empty_request_has_no_answer() {
    assert!(answer(&Annealer, &mut controller(), &[]).is_empty());
}

proptest::proptest! {
    #[test]
    fn no_request_however_mad_brings_the_device_down(request: Vec<u8>) {
        for layout in crate::registers::LAYOUTS {
            let answered = answer(layout, &mut controller(), &request);
            proptest::prop_assert!(answered.len() <= 253);
        }
    }
}
