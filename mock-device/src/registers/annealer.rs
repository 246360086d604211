//! `annealer`: scaled 16-bit integers in holding registers, eight words at most in one request.

use super::setting::Setting;
use super::{Exception, Layout, Words};
use crate::controller::{AutotuneState, Controller, Mode};

/// What the process value reads while the sensor is open.
const SENSOR_OPEN: u16 = 0x7FFF;

/// Bits of the status word.
const HEATING: u16 = 1 << 0;
const ALARM_HIGH: u16 = 1 << 1;
const SENSOR_FAULT: u16 = 1 << 2;
const IN_MANUAL: u16 = 1 << 3;
const AUTOTUNE_ACTIVE: u16 = 1 << 4;

/// What is measured and commanded; addresses count from zero, and those between the groups of this
/// layout answer exception 02.
const PV: u16 = 0;
const OUTPUT: u16 = 2;
const STATUS: u16 = 3;
const MODE: u16 = 4;
const WORKING_SETPOINT: u16 = 5;
const AUTOTUNE_COMMAND: u16 = 10;
const AUTOTUNE_RESULT: u16 = 11;

/// Where each setting stands and how many of its register's steps make one unit.
const SETTINGS: [(u16, Setting, f64); 13] = [
    (1, Setting::Setpoint, TENTHS),
    (12, Setting::AutotuneLimit, TENTHS),
    (20, Setting::Band, TENTHS),
    (21, Setting::Integral, WHOLE),
    (22, Setting::Derivative, WHOLE),
    (23, Setting::Cycle, WHOLE),
    (30, Setting::SetpointHigh, TENTHS),
    (31, Setting::SetpointLow, TENTHS),
    (32, Setting::OutputHigh, TENTHS),
    (33, Setting::OutputLow, TENTHS),
    (40, Setting::ManualOutput, TENTHS),
    (41, Setting::Alarm, TENTHS),
    (42, Setting::Ramp, TENTHS),
];
const TENTHS: f64 = 10.0;
const WHOLE: f64 = 1.0;

fn setting_at(address: u16) -> Option<(Setting, f64)> {
    let entry = SETTINGS.iter().find(|(place, ..)| *place == address)?;
    Some((entry.1, entry.2))
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

    fn max_words(&self) -> u16 {
        8
    }

    fn echoes(&self) -> bool {
        true
    }

    fn has_words(&self, table: Words) -> bool {
        table == Words::Holding
    }

    fn word(&self, c: &Controller, table: Words, address: u16) -> Option<u16> {
        (table == Words::Holding).then_some(())?;
        Some(match address {
            PV => c.pv().map_or(SENSOR_OPEN, |pv| scaled(pv, TENTHS)),
            OUTPUT => scaled(c.output(), TENTHS),
            STATUS => status(c),
            MODE => u16::from(c.mode() == Mode::Manual),
            WORKING_SETPOINT => scaled(c.working_setpoint(), TENTHS),
            AUTOTUNE_COMMAND => u16::from(c.autotune() == AutotuneState::Active),
            AUTOTUNE_RESULT => result(c.autotune()),
            _ => {
                let (setting, steps) = setting_at(address)?;
                scaled(setting.get(c), steps)
            }
        })
    }

    fn write_words(&self, c: &mut Controller, first: u16, words: &[u16]) -> Result<(), Exception> {
        for (address, &word) in (first..=u16::MAX).zip(words) {
            write(c, address, word)?;
        }
        Ok(())
    }
}

fn write(c: &mut Controller, address: u16, word: u16) -> Result<(), Exception> {
    match address {
        MODE => write_mode(c, word),
        AUTOTUNE_COMMAND => write_command(c, word),
        _ => {
            let (setting, steps) = setting_at(address).ok_or(Exception::IllegalAddress)?;
            Ok(setting.set(c, f64::from(word.cast_signed()) / steps)?)
        }
    }
}

fn write_mode(c: &mut Controller, word: u16) -> Result<(), Exception> {
    match word {
        0 => c.go_automatic(),
        1 => c.go_manual(),
        _ => return Err(Exception::IllegalValue),
    }
    Ok(())
}

fn write_command(c: &mut Controller, word: u16) -> Result<(), Exception> {
    match word {
        0 => c.abort_autotune(),
        1 => c.start_autotune()?,
        _ => return Err(Exception::IllegalValue),
    }
    Ok(())
}

fn status(c: &Controller) -> u16 {
    let flag = |on: bool, bit: u16| if on { bit } else { 0 };
    flag(c.is_heating(), HEATING)
        | flag(c.is_alarm(), ALARM_HIGH)
        | flag(c.pv().is_none(), SENSOR_FAULT)
        | flag(c.mode() == Mode::Manual, IN_MANUAL)
        | flag(c.autotune() == AutotuneState::Active, AUTOTUNE_ACTIVE)
}

fn result(state: AutotuneState) -> u16 {
    match state {
        AutotuneState::Never => 0,
        AutotuneState::Active => 1,
        AutotuneState::Tuned => 2,
        AutotuneState::TimedOut => 3,
        AutotuneState::Aborted => 4,
        AutotuneState::Failed => 5,
    }
}

/// A value as a signed word; what lies beyond the word stops short of the fault value.
fn scaled(value: f64, steps: f64) -> u16 {
    let highest = f64::from(SENSOR_OPEN) - 1.0;
    let word = (value * steps).round().clamp(f64::from(i16::MIN), highest);
    (word as i16).cast_unsigned()
}

#[cfg(test)]
mod tests {
    use super::*;
    use crate::controller::{Settings, Tuning};

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
        assert_eq!(read(&c, OUTPUT), Some(413));
        assert_eq!(read(&c, 20), Some(280));
        assert_eq!(read(&c, 21), Some(140));
        assert_eq!(read(&c, 22), Some(35));
    }

    #[test]
    fn below_zero_is_a_negative_word() {
        assert_eq!(scaled(-1.0, TENTHS), 0xFFF6);
    }

    #[test]
    fn a_temperature_too_large_is_not_taken_for_an_open_sensor() {
        assert_eq!(scaled(1e6, TENTHS), SENSOR_OPEN - 1);
        let mut c = controller();
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
