//! `annealer`: scaled 16-bit integers in holding registers, eight words at most in one request.

use super::{Encoding, Item, Layout, Setting, State, What};

/// What the process value reads while the sensor is open.
const SENSOR_OPEN: u16 = 0x7FFF;

const PV: u16 = 0;
const STATUS: u16 = 3;
const MODE: u16 = 4;
const AUTOTUNE_COMMAND: u16 = 10;
const AUTOTUNE_RESULT: u16 = 11;

/// The addresses between these groups answer exception 02.
const ITEMS: [Item; 24] = [
    signed(PV, What::ProcessValue).broken(SENSOR_OPEN as u32),
    signed(1, What::Set(Setting::Setpoint)).writable(),
    tenths(2, What::Output),
    status(State::Heating, 0),
    status(State::Alarm, 1),
    status(State::SensorFault, 2),
    status(State::Mode, 3),
    status(State::Tuning, 4),
    Item::holding(MODE, What::State(State::Mode)).writable(),
    signed(5, What::WorkingSetpoint),
    Item::holding(AUTOTUNE_COMMAND, What::State(State::TuneCommand)).writable(),
    Item::holding(AUTOTUNE_RESULT, What::State(State::TuneResult)),
    tenths(12, What::Set(Setting::AutotuneLimit)).writable(),
    tenths(20, What::Set(Setting::Band)).writable(),
    Item::holding(21, What::Set(Setting::Integral)).writable(),
    Item::holding(22, What::Set(Setting::Derivative)).writable(),
    Item::holding(23, What::Set(Setting::Cycle)).writable(),
    signed(30, What::Set(Setting::SetpointHigh)).writable(),
    signed(31, What::Set(Setting::SetpointLow)).writable(),
    tenths(32, What::Set(Setting::OutputHigh)).writable(),
    tenths(33, What::Set(Setting::OutputLow)).writable(),
    tenths(40, What::Set(Setting::ManualOutput)).writable(),
    signed(41, What::Set(Setting::Alarm)).writable(),
    tenths(42, What::Set(Setting::Ramp)).writable(),
];

const fn signed(address: u16, what: What) -> Item {
    Item::holding(address, what).coded(Encoding::I16, 10.0)
}

const fn tenths(address: u16, what: What) -> Item {
    Item::holding(address, what).coded(Encoding::U16, 10.0)
}

const fn status(state: State, bit: u8) -> Item {
    Item::holding(STATUS, What::State(state)).bits(bit, 1)
}

/// The controller of the annealing oven.
#[derive(Clone, Copy, Debug)]
pub struct Annealer;

impl Layout for Annealer {
    fn name(&self) -> &'static str {
        "annealer"
    }

    fn map_text(&self) -> &'static str {
        include_str!("../../../configs/maps/annealer.toml")
    }

    fn items(&self) -> &[Item] {
        &ITEMS
    }

    fn max_words(&self) -> u16 {
        8
    }

    fn echoes(&self) -> bool {
        true
    }
}

#[cfg(test)]
mod tests {
    use super::*;
    use crate::controller::{Controller, Settings, Tuning};
    use crate::registers::{Exception, Words};

    /// Bits of the status word.
    const ALARM_HIGH: u16 = 1 << 1;
    const SENSOR_FAULT: u16 = 1 << 2;
    const AUTOTUNE_ACTIVE: u16 = 1 << 4;

    fn controller() -> Controller {
        let settings = Settings::as_delivered(Tuning::new(28.0, 140.0, 35.0), 490.0);
        Controller::new(settings, 489.7, 41.3)
    }

    fn read(c: &Controller, address: u16) -> Option<u16> {
        Annealer.word(c, Words::Holding, address)
    }

    #[test]
    fn values_are_tenths_and_times_are_seconds() {
        let c = controller();
        assert_eq!(read(&c, PV), Some(4897));
        assert_eq!(read(&c, 1), Some(4900));
        assert_eq!(read(&c, 2), Some(413));
        assert_eq!(read(&c, 20), Some(280));
        assert_eq!(read(&c, 21), Some(140));
        assert_eq!(read(&c, 22), Some(35));
    }

    #[test]
    fn below_zero_is_a_negative_word() {
        let mut c = controller();
        c.scan(Some(-1.0), 0.5);
        assert_eq!(read(&c, PV), Some(0xFFF6));
    }

    #[test]
    fn a_temperature_too_large_is_not_taken_for_an_open_sensor() {
        let mut c = controller();
        c.scan(Some(1e6), 0.5);
        assert_eq!(read(&c, PV), Some(SENSOR_OPEN - 1));
        c.scan(None, 0.5);
        assert_eq!(read(&c, PV), Some(SENSOR_OPEN));
        assert_eq!(read(&c, STATUS), Some(SENSOR_FAULT | ALARM_HIGH));
    }

    #[test]
    fn the_autotune_command_starts_and_aborts_and_the_status_bit_follows() {
        let mut c = controller();
        Annealer
            .write_words(&mut c, AUTOTUNE_COMMAND, &[1])
            .unwrap();
        assert_eq!(read(&c, STATUS).unwrap() & AUTOTUNE_ACTIVE, AUTOTUNE_ACTIVE);
        assert_eq!(read(&c, AUTOTUNE_COMMAND), Some(1));
        Annealer
            .write_words(&mut c, AUTOTUNE_COMMAND, &[0])
            .unwrap();
        assert_eq!(read(&c, STATUS).unwrap() & AUTOTUNE_ACTIVE, 0);
        assert_eq!(read(&c, AUTOTUNE_RESULT), Some(4));
    }

    #[test]
    fn whatever_is_writable_reads_back_as_written() {
        let mut c = controller();
        for (address, word) in [
            (1, 5100),
            (MODE, 1),
            (12, 600),
            (20, 123),
            (21, 456),
            (22, 78),
            (23, 15),
            (30, 5500),
            (31, 1000),
            (32, 900),
            (33, 50),
            (40, 333),
            (41, 5400),
            (42, 25),
        ] {
            Annealer.write_words(&mut c, address, &[word]).unwrap();
            assert_eq!(read(&c, address), Some(word), "register {address}");
        }
    }

    #[test]
    fn read_only_and_missing_registers_are_illegal_addresses_and_bad_values_illegal_values() {
        let mut c = controller();
        let mut write = |address, word| Annealer.write_words(&mut c, address, &[word]);
        assert_eq!(write(PV, 1), Err(Exception::IllegalAddress));
        assert_eq!(write(7, 1), Err(Exception::IllegalAddress));
        assert_eq!(write(1, 6001), Err(Exception::IllegalValue));
        assert_eq!(write(MODE, 2), Err(Exception::IllegalValue));
        assert_eq!(write(40, 100), Err(Exception::DeviceFailure));
        assert_eq!(read(&c, 7), None);
    }
}
