//! `floats`: 32-bit floats, low word first; measured values in input registers, settings in holding
//! registers, states in discrete inputs, commands in coils. It knows no diagnostics echo.

use super::setting::Setting;
use super::{Bits, Exception, Layout, Words};
use crate::controller::{AutotuneState, Controller, Mode};

/// Longest block, words.
const MAX_WORDS: u16 = 32;

/// Coils: hand the output to a person; start (1) or abort (0) an autotune.
const COIL_MANUAL: u16 = 0;
const COIL_AUTOTUNE: u16 = 1;

/// A controller whose maker thought of computers.
#[derive(Clone, Copy, Debug)]
pub struct Floats;

/// The settings, in the order of their register pairs.
const SETTINGS: [Setting; 13] = [
    Setting::Setpoint,
    Setting::Band,
    Setting::Integral,
    Setting::Derivative,
    Setting::Cycle,
    Setting::SetpointHigh,
    Setting::SetpointLow,
    Setting::OutputHigh,
    Setting::OutputLow,
    Setting::ManualOutput,
    Setting::Alarm,
    Setting::Ramp,
    Setting::AutotuneLimit,
];

impl Layout for Floats {
    fn name(&self) -> &'static str {
        "floats"
    }

    fn map_text(&self) -> &'static str {
        include_str!("../../../configs/maps/floats.toml")
    }

    fn max_words(&self) -> u16 {
        MAX_WORDS
    }

    fn has_words(&self, _table: Words) -> bool {
        true
    }

    fn has_bits(&self) -> bool {
        true
    }

    fn word(&self, c: &Controller, table: Words, address: u16) -> Option<u16> {
        let pair = usize::from(address / 2);
        let value = match table {
            Words::Input => *measured(c).get(pair)?,
            Words::Holding => SETTINGS.get(pair)?.get(c),
        };
        Some(low_first(value as f32)[usize::from(address % 2)])
    }

    fn bit(&self, c: &Controller, table: Bits, address: u16) -> Option<bool> {
        let tuning = c.autotune() == AutotuneState::Active;
        let manual = c.mode() == Mode::Manual;
        let bits: &[bool] = match table {
            Bits::Coil => &[manual, tuning],
            Bits::Discrete => &[tuning, c.is_alarm(), c.pv().is_none(), c.is_heating()],
        };
        bits.get(usize::from(address)).copied()
    }

    /// Whole floats only: half a number means nothing.
    fn write_words(&self, c: &mut Controller, first: u16, words: &[u16]) -> Result<(), Exception> {
        let pairs = words.chunks_exact(2);
        if !first.is_multiple_of(2) || !pairs.remainder().is_empty() {
            return Err(Exception::IllegalValue);
        }
        for (pair, words) in (usize::from(first / 2)..).zip(pairs) {
            let setting = SETTINGS.get(pair).ok_or(Exception::IllegalAddress)?;
            setting.set(c, shortest(from_low_first([words[0], words[1]])))?;
        }
        Ok(())
    }

    fn write_bit(&self, c: &mut Controller, address: u16, on: bool) -> Result<(), Exception> {
        match (address, on) {
            (COIL_MANUAL, true) => c.go_manual(),
            (COIL_MANUAL, false) => c.go_automatic(),
            (COIL_AUTOTUNE, true) => c.start_autotune()?,
            (COIL_AUTOTUNE, false) => c.abort_autotune(),
            _ => return Err(Exception::IllegalAddress),
        }
        Ok(())
    }
}

/// Process value (not a number while the sensor is open), working setpoint, output.
fn measured(c: &Controller) -> [f64; 3] {
    [c.pv().unwrap_or(f64::NAN), c.working_setpoint(), c.output()]
}

fn low_first(value: f32) -> [u16; 2] {
    let bits = if value.is_nan() {
        // One pattern for all machines, and the one that the map names.
        0x7FC0_0000
    } else {
        value.to_bits()
    };
    [bits as u16, (bits >> 16) as u16]
}

fn from_low_first([low, high]: [u16; 2]) -> f32 {
    f32::from_bits(u32::from(high) << 16 | u32::from(low))
}

/// The decimal number a person meant: 0.1 sent as a 32-bit float is 0.1, not 0.10000000149.
fn shortest(value: f32) -> f64 {
    value.to_string().parse().unwrap_or(f64::NAN)
}

#[cfg(test)]
mod tests {
    use super::*;
    use crate::controller::{Settings, Tuning};

    fn controller() -> Controller {
        let settings = Settings::as_delivered(Tuning::new(28.0, 140.0, 35.0), 490.0);
        Controller::new(settings, 489.7, 41.3)
    }

    fn float(c: &Controller, table: Words, address: u16) -> f32 {
        from_low_first([address, address + 1].map(|a| Floats.word(c, table, a).unwrap()))
    }

    /// IEEE 754 single precision of 1.0 is 3F80 0000.
    #[test]
    fn the_low_word_comes_first() {
        assert_eq!(low_first(1.0), [0x0000, 0x3F80]);
    }

    #[test]
    fn an_open_sensor_is_the_one_not_a_number_that_the_map_names() {
        let mut c = controller();
        c.scan(None, 0.5);
        assert_eq!(Floats.word(&c, Words::Input, 0), Some(0x0000));
        assert_eq!(Floats.word(&c, Words::Input, 1), Some(0x7FC0));
        assert_eq!(Floats.bit(&c, Bits::Discrete, 2), Some(true));
    }

    #[test]
    fn every_setting_reads_back_as_written() {
        let mut c = controller();
        c.go_manual();
        let values = [
            505.5, 12.3, 456.0, 78.0, 15.0, 550.0, 100.0, 90.0, 5.0, 33.3, 540.0, 2.5, 60.0,
        ];
        for (setting, value) in (0_u16..).zip(values) {
            let address = setting * 2;
            Floats
                .write_words(&mut c, address, &low_first(value))
                .unwrap();
            let read = float(&c, Words::Holding, address);
            assert!((read - value).abs() < 1e-6, "register {address}: {read}");
        }
        assert_eq!(c.settings().tuning, Tuning::new(12.3, 456.0, 78.0));
    }

    #[test]
    fn half_a_float_is_an_illegal_value_and_a_register_beyond_the_last_an_illegal_address() {
        let mut c = controller();
        let mut write = |address, words: &[u16]| Floats.write_words(&mut c, address, words);
        assert_eq!(write(0, &[1]), Err(Exception::IllegalValue));
        assert_eq!(write(1, &[1, 2]), Err(Exception::IllegalValue));
        assert_eq!(write(26, &[0, 0]), Err(Exception::IllegalAddress));
        assert_eq!(write(0, &low_first(f32::NAN)), Err(Exception::IllegalValue));
        assert_eq!(Floats.word(&c, Words::Holding, 26), None);
        assert_eq!(Floats.word(&c, Words::Input, 6), None);
    }

    #[test]
    fn coils_take_the_output_in_hand_and_start_an_autotune() {
        let mut c = controller();
        Floats.write_bit(&mut c, COIL_AUTOTUNE, true).unwrap();
        assert_eq!(Floats.bit(&c, Bits::Discrete, 0), Some(true));
        Floats.write_bit(&mut c, COIL_MANUAL, true).unwrap();
        assert_eq!(Floats.bit(&c, Bits::Coil, COIL_MANUAL), Some(true));
        assert_eq!(c.autotune(), AutotuneState::Aborted);
        let refused = Floats.write_bit(&mut c, COIL_AUTOTUNE, true);
        assert_eq!(refused, Err(Exception::DeviceFailure));
    }
}
