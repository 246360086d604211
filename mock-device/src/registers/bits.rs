//! `bits`: states as single bits, some in coils and discrete inputs, some packed into words, beside
//! integers of 16 and 32 bits, low word first. Its table numbers registers with their table as first
//! digit, and bits from 1. It needs a rest between exchanges.

use std::time::Duration;

use super::{Encoding, Item, Layout, Manual, Numbering, Order, Setting, State, What};

/// What the process value reads while the sensor is open.
const SENSOR_OPEN: i16 = -9999;

/// Where several states share a word.
const STATUS: u16 = 3;

const ITEMS: [Item; 25] = [
    Item::input(0, What::ProcessValue)
        .coded(Encoding::I16, 10.0)
        .broken(SENSOR_OPEN.cast_unsigned() as u32),
    Item::input(1, What::WorkingSetpoint).coded(Encoding::I16, 10.0),
    Item::input(2, What::Output).coded(Encoding::U16, 10.0),
    packed(State::Heating, 0, 1),
    packed(State::Alarm, 1, 1),
    packed(State::Tuning, 4, 1),
    packed(State::TuneResult, 8, 3),
    Item::input(4, What::RunningTime).coded(Encoding::U32, 1.0),
    Item::discrete(0, State::SensorFault),
    Item::discrete(1, State::Alarm),
    Item::discrete(2, State::Tuning),
    Item::coil(0, State::Mode).writable(),
    Item::coil(1, State::TuneCommand).writable(),
    Item::holding(0, What::Set(Setting::Setpoint))
        .coded(Encoding::I16, 10.0)
        .writable(),
    thousandths(1, Setting::Band),
    Item::holding(3, What::Set(Setting::Integral)).writable(),
    Item::holding(4, What::Set(Setting::Derivative)).writable(),
    Item::holding(5, What::Set(Setting::Cycle)).writable(),
    tenths(10, Encoding::I16, Setting::SetpointHigh),
    tenths(11, Encoding::I16, Setting::SetpointLow),
    tenths(12, Encoding::U16, Setting::OutputHigh),
    tenths(13, Encoding::U16, Setting::OutputLow),
    tenths(14, Encoding::U16, Setting::ManualOutput),
    tenths(15, Encoding::I16, Setting::Alarm),
    tenths(16, Encoding::U16, Setting::Ramp),
];

const fn packed(state: State, lowest: u8, count: u8) -> Item {
    Item::input(STATUS, What::State(state)).bits(lowest, count)
}

const fn tenths(address: u16, encoding: Encoding, setting: Setting) -> Item {
    Item::holding(address, What::Set(setting))
        .coded(encoding, 10.0)
        .writable()
}

const fn thousandths(address: u16, setting: Setting) -> Item {
    Item::holding(address, What::Set(setting))
        .coded(Encoding::I32, 1000.0)
        .writable()
}

/// A controller that thinks in lamps.
#[derive(Clone, Copy, Debug)]
pub struct StatusBits;

impl Layout for StatusBits {
    fn name(&self) -> &'static str {
        "bits"
    }

    fn map_text(&self) -> &'static str {
        include_str!("../../../configs/maps/bits.toml")
    }

    fn items(&self) -> &[Item] {
        &ITEMS
    }

    fn order(&self) -> Order {
        Order::LOW_WORD_FIRST
    }

    fn manual(&self) -> Manual {
        Manual {
            numbering: Numbering::Reference,
            first_bit: 1,
            ..Manual::default()
        }
    }

    fn max_words(&self) -> u16 {
        8
    }

    fn rest(&self) -> Duration {
        Duration::from_millis(40)
    }

    fn echoes(&self) -> bool {
        true
    }
}

#[cfg(test)]
mod tests {
    use super::*;
    use crate::controller::{Controller, Settings, Tuning};
    use crate::registers::{Bits, Words};

    #[test]
    fn a_word_of_several_states_shows_each_in_its_own_bits() {
        let settings = Settings::as_delivered(Tuning::new(28.0, 140.0, 35.0), 490.0);
        let mut c = Controller::new(settings, 489.7, 41.3);
        let status = |c: &Controller| StatusBits.word(c, Words::Input, STATUS).unwrap();
        assert_eq!(status(&c), 0);
        c.start_autotune().unwrap();
        c.scan(Some(489.7), 0.5);
        // Heating, tuning, and 1 (under way) from bit 8 on.
        assert_eq!(status(&c), 1 | 1 << 4 | 1 << 8);
        assert_eq!(StatusBits.bit(&c, Bits::Discrete, 2), Some(true));
        c.scan(None, 0.5);
        // Alarm, and 5 (failed); the contact may still be closed.
        assert_eq!(status(&c) & !1, 1 << 1 | 5 << 8);
        assert_eq!(StatusBits.word(&c, Words::Input, 0), Some(0xD8F1));
    }

    #[test]
    fn a_long_number_is_written_whole() {
        let settings = Settings::as_delivered(Tuning::new(28.0, 140.0, 35.0), 490.0);
        let mut c = Controller::new(settings, 489.7, 41.3);
        // 123.456 in thousandths is 0001 E240.
        StatusBits
            .write_words(&mut c, 1, &[0xE240, 0x0001])
            .unwrap();
        assert!((c.settings().tuning.band - 123.456).abs() < 1e-9);
        assert_eq!(StatusBits.word(&c, Words::Holding, 1), Some(0xE240));
    }
}
