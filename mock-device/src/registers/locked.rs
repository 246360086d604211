//! `locked`: takes a write only after its write-unlock register got the right number, and needs a rest
//! after each. Temperatures in degrees Fahrenheit, the proportional band in percent of the span, times
//! in tenths of a minute.

use std::time::Duration;

use super::{Encoding, Item, Layout, Manual, Numbering, Setting, State, Unit, What};

/// What the process value reads while the sensor is open.
const SENSOR_OPEN: u16 = 0xFFFF;
/// What the raw number 0 stands for, degF.
const BELOW_ZERO: f64 = -400.0;
/// Span of the input, degC.
const SPAN: f64 = 800.0;
/// What locks and unlocks.
const KEYS: [u16; 2] = [0, 2746];

const ITEMS: [Item; 21] = [
    fahrenheit(0x1000, What::ProcessValue).broken(SENSOR_OPEN as u32),
    fahrenheit(0x1001, What::WorkingSetpoint),
    Item::holding(0x1002, What::Output).coded(Encoding::I16, 100.0),
    Item::holding(0x1003, What::State(State::Operation)),
    Item::holding(0x1004, What::State(State::TuneResult)),
    Item::holding(0x1005, What::State(State::Alarm)),
    Item::holding(0x1006, What::State(State::Heating)),
    fahrenheit(0x2000, What::Set(Setting::Setpoint)).writable(),
    Item::holding(0x2001, What::Set(Setting::Band))
        .coded(Encoding::U16, 10.0)
        .in_unit(Unit::PercentOfSpan(SPAN))
        .writable(),
    minutes(0x2002, Setting::Integral),
    minutes(0x2003, Setting::Derivative),
    Item::holding(0x2004, What::Set(Setting::Cycle)).writable(),
    fahrenheit(0x2008, What::Set(Setting::SetpointHigh)).writable(),
    fahrenheit(0x2009, What::Set(Setting::SetpointLow)).writable(),
    percent(0x200A, Setting::OutputHigh),
    percent(0x200B, Setting::OutputLow),
    percent(0x200C, Setting::ManualOutput),
    fahrenheit(0x200D, What::Set(Setting::Alarm)).writable(),
    Item::holding(0x2010, What::State(State::Mode)).writable(),
    Item::holding(0x2011, What::State(State::TuneCommand)).command([2, 1]),
    Item::holding(0x20FF, What::State(State::WriteAccess))
        .with_codes(KEYS)
        .writable(),
];

const fn fahrenheit(address: u16, what: What) -> Item {
    Item::holding(address, what)
        .coded(Encoding::U16, 10.0)
        .starting_at(BELOW_ZERO)
        .in_unit(Unit::DegF)
}

const fn minutes(address: u16, setting: Setting) -> Item {
    Item::holding(address, What::Set(setting))
        .coded(Encoding::U16, 10.0)
        .in_unit(Unit::Minute)
        .writable()
}

const fn percent(address: u16, setting: Setting) -> Item {
    Item::holding(address, What::Set(setting))
        .coded(Encoding::I16, 100.0)
        .writable()
}

/// A controller whose maker trusts nobody on the wire.
#[derive(Clone, Copy, Debug)]
pub struct Locked;

impl Layout for Locked {
    fn name(&self) -> &'static str {
        "locked"
    }

    fn map_text(&self) -> &'static str {
        include_str!("../../../configs/maps/locked.toml")
    }

    fn items(&self) -> &[Item] {
        &ITEMS
    }

    fn manual(&self) -> Manual {
        Manual {
            numbering: Numbering::Hexadecimal,
            ..Manual::default()
        }
    }

    fn max_words(&self) -> u16 {
        4
    }

    fn rest_after_write(&self) -> Duration {
        Duration::from_millis(150)
    }

    fn needs_unlocking(&self) -> bool {
        true
    }
}

#[cfg(test)]
mod tests {
    use super::*;
    use crate::controller::{Controller, Settings, Tuning};
    use crate::registers::{Exception, Words};

    fn controller() -> Controller {
        let settings = Settings::as_delivered(Tuning::new(28.0, 141.0, 36.0), 490.0);
        Controller::new(settings, 489.7, 41.3)
    }

    #[test]
    fn it_takes_a_write_only_while_it_is_unlocked() {
        let mut c = controller();
        let mut write = |address, word| Locked.write_words(&mut c, address, &[word]);
        assert_eq!(write(0x2001, 40), Err(Exception::DeviceFailure));
        assert_eq!(write(0x20FF, 1), Err(Exception::IllegalValue));
        assert_eq!(write(0x20FF, 2746), Ok(()));
        assert_eq!(write(0x2001, 40), Ok(()));
        assert_eq!(write(0x20FF, 0), Ok(()));
        assert_eq!(write(0x2011, 1), Err(Exception::DeviceFailure));
        assert!((c.settings().tuning.band - 32.0).abs() < 1e-9);
    }

    #[test]
    fn its_numbers_are_fahrenheit_percent_of_span_and_tenths_of_a_minute() {
        let c = controller();
        let read = |address| Locked.word(&c, Words::Holding, address).unwrap();
        // 489.7 degC is 913.46 degF; 28 degC of 800 are 3.5 %; 141 s are 2.35 min.
        assert_eq!(read(0x1000), 13_135);
        assert_eq!(read(0x1002), 4130);
        assert_eq!((read(0x2001), read(0x2002), read(0x2003)), (35, 24, 6));
    }
}
