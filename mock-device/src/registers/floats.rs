//! `floats`: 32-bit floats, low word first; measured values in input registers, settings in holding
//! registers, states in discrete inputs, commands in coils. It knows no diagnostics echo.

use super::{Encoding, Item, Layout, Order, Setting, State, What};

/// Coils: hand the output to a person; start (1) or abort (0) an autotune.
const COIL_MANUAL: u16 = 0;
const COIL_AUTOTUNE: u16 = 1;

/// One pattern for all machines, and the one that the map names.
const NOT_A_NUMBER: u32 = 0x7FC0_0000;

const ITEMS: [Item; 22] = [
    measured(0, What::ProcessValue),
    measured(2, What::WorkingSetpoint),
    measured(4, What::Output),
    setting(0, Setting::Setpoint),
    setting(2, Setting::Band),
    setting(4, Setting::Integral),
    setting(6, Setting::Derivative),
    setting(8, Setting::Cycle),
    setting(10, Setting::SetpointHigh),
    setting(12, Setting::SetpointLow),
    setting(14, Setting::OutputHigh),
    setting(16, Setting::OutputLow),
    setting(18, Setting::ManualOutput),
    setting(20, Setting::Alarm),
    setting(22, Setting::Ramp),
    setting(24, Setting::AutotuneLimit),
    Item::discrete(0, State::Tuning),
    Item::discrete(1, State::Alarm),
    Item::discrete(2, State::SensorFault),
    Item::discrete(3, State::Heating),
    Item::coil(COIL_MANUAL, State::Mode).writable(),
    Item::coil(COIL_AUTOTUNE, State::TuneCommand).writable(),
];

const fn measured(address: u16, what: What) -> Item {
    Item::input(address, what)
        .coded(Encoding::F32, 1.0)
        .broken(NOT_A_NUMBER)
}

const fn setting(address: u16, setting: Setting) -> Item {
    Item::holding(address, What::Set(setting))
        .coded(Encoding::F32, 1.0)
        .writable()
}

/// A controller whose maker thought of computers.
#[derive(Clone, Copy, Debug)]
pub struct Floats;

impl Layout for Floats {
    fn name(&self) -> &'static str {
        "floats"
    }

    fn map_text(&self) -> &'static str {
        include_str!("../../../configs/maps/floats.toml")
    }

    fn items(&self) -> &[Item] {
        &ITEMS
    }

    fn order(&self) -> Order {
        Order::LOW_WORD_FIRST
    }

    fn max_words(&self) -> u16 {
        32
    }
}

#[cfg(test)]
mod tests {
    use super::*;
    use crate::controller::{AutotuneState, Controller, Settings, Tuning};
    use crate::registers::{Bits, Exception, Words};

    fn low_first(value: f32) -> [u16; 2] {
        let bits = value.to_bits();
        [bits as u16, (bits >> 16) as u16]
    }

    fn controller() -> Controller {
        let settings = Settings::as_delivered(Tuning::new(28.0, 140.0, 35.0), 490.0);
        Controller::new(settings, 489.7, 41.3)
    }

    fn float(c: &Controller, table: Words, address: u16) -> f32 {
        let [low, high] = [address, address + 1].map(|a| Floats.word(c, table, a).unwrap());
        f32::from_bits(u32::from(high) << 16 | u32::from(low))
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
