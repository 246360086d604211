//! `annealer`: scaled 16-bit integers in holding registers, eight words at most in one request.

use super::{Exception, Layout, Words, with_high, with_low};
use crate::controller::{AutotuneState, Controller, Mode, Tuning};

/// What the process value reads while the sensor is open.
const SENSOR_OPEN: u16 = 0x7FFF;

/// Bits of the status word.
const HEATING: u16 = 1 << 0;
const ALARM_HIGH: u16 = 1 << 1;
const SENSOR_FAULT: u16 = 1 << 2;
const IN_MANUAL: u16 = 1 << 3;
const AUTOTUNE_ACTIVE: u16 = 1 << 4;

/// Addresses, from zero. Gaps between the groups answer exception 02.
mod at {
    pub(super) const PV: u16 = 0;
    pub(super) const SETPOINT: u16 = 1;
    pub(super) const OUTPUT: u16 = 2;
    pub(super) const STATUS: u16 = 3;
    pub(super) const MODE: u16 = 4;
    pub(super) const WORKING_SETPOINT: u16 = 5;
    pub(super) const AUTOTUNE_COMMAND: u16 = 10;
    pub(super) const AUTOTUNE_RESULT: u16 = 11;
    pub(super) const AUTOTUNE_LIMIT: u16 = 12;
    pub(super) const BAND: u16 = 20;
    pub(super) const INTEGRAL: u16 = 21;
    pub(super) const DERIVATIVE: u16 = 22;
    pub(super) const CYCLE: u16 = 23;
    pub(super) const SETPOINT_HIGH: u16 = 30;
    pub(super) const SETPOINT_LOW: u16 = 31;
    pub(super) const OUTPUT_HIGH: u16 = 32;
    pub(super) const OUTPUT_LOW: u16 = 33;
    pub(super) const MANUAL_OUTPUT: u16 = 40;
    pub(super) const ALARM: u16 = 41;
    pub(super) const RAMP: u16 = 42;
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
        let s = c.settings();
        (table == Words::Holding).then_some(())?;
        Some(match address {
            at::PV => c.pv().map_or(SENSOR_OPEN, tenths),
            at::SETPOINT => tenths(s.setpoint),
            at::OUTPUT | at::MANUAL_OUTPUT => tenths(c.output()),
            at::STATUS => status(c),
            at::MODE => u16::from(c.mode() == Mode::Manual),
            at::WORKING_SETPOINT => tenths(c.working_setpoint()),
            at::AUTOTUNE_COMMAND => u16::from(c.autotune() == AutotuneState::Active),
            at::AUTOTUNE_RESULT => result(c.autotune()),
            at::AUTOTUNE_LIMIT => tenths(s.autotune.output_limit),
            at::BAND => tenths(s.tuning.band),
            at::INTEGRAL => whole(s.tuning.integral_s),
            at::DERIVATIVE => whole(s.tuning.derivative_s),
            at::CYCLE => whole(s.cycle_s),
            at::SETPOINT_HIGH => tenths(s.setpoint_high),
            at::SETPOINT_LOW => tenths(s.setpoint_low),
            at::OUTPUT_HIGH => tenths(s.output_high),
            at::OUTPUT_LOW => tenths(s.output_low),
            at::ALARM => tenths(s.alarm_high),
            at::RAMP => tenths(s.ramp_per_min),
            _ => return None,
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
    let value = from_tenths(word);
    let seconds = f64::from(word);
    let tuning = c.settings().tuning;
    let setpoints = (c.settings().setpoint_low, c.settings().setpoint_high);
    let outputs = (c.settings().output_low, c.settings().output_high);
    match address {
        at::SETPOINT => c.set_setpoint(value)?,
        at::MODE => write_mode(c, word)?,
        at::AUTOTUNE_COMMAND => write_command(c, word)?,
        at::AUTOTUNE_LIMIT => c.set_autotune_limit(value)?,
        at::BAND => c.set_tuning(Tuning {
            band: value,
            ..tuning
        })?,
        at::INTEGRAL => c.set_tuning(Tuning {
            integral_s: seconds,
            ..tuning
        })?,
        at::DERIVATIVE => c.set_tuning(Tuning {
            derivative_s: seconds,
            ..tuning
        })?,
        at::CYCLE => c.set_cycle_time(seconds)?,
        at::SETPOINT_HIGH => c.set_setpoint_limits(with_high(setpoints, value))?,
        at::SETPOINT_LOW => c.set_setpoint_limits(with_low(setpoints, value))?,
        at::OUTPUT_HIGH => c.set_output_limits(with_high(outputs, value))?,
        at::OUTPUT_LOW => c.set_output_limits(with_low(outputs, value))?,
        at::MANUAL_OUTPUT => c.set_manual_output(value)?,
        at::ALARM => c.set_alarm_high(value)?,
        at::RAMP => c.set_ramp(value)?,
        _ => return Err(Exception::IllegalAddress),
    }
    Ok(())
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

/// A value as a signed number of tenths; what lies beyond the word stops short of the fault value.
fn tenths(value: f64) -> u16 {
    let highest = f64::from(SENSOR_OPEN) - 1.0;
    let tenths = (value * 10.0).round().clamp(f64::from(i16::MIN), highest);
    (tenths as i16).cast_unsigned()
}

fn from_tenths(word: u16) -> f64 {
    f64::from(word.cast_signed()) / 10.0
}

fn whole(value: f64) -> u16 {
    value.round() as u16
}

#[cfg(test)]
mod tests {
    use super::*;
    use crate::controller::Settings;

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
        assert_eq!(read(&c, at::PV), Some(4897));
        assert_eq!(read(&c, at::SETPOINT), Some(4900));
        assert_eq!(read(&c, at::OUTPUT), Some(413));
        assert_eq!(read(&c, at::BAND), Some(280));
        assert_eq!(read(&c, at::INTEGRAL), Some(140));
        assert_eq!(read(&c, at::DERIVATIVE), Some(35));
    }

    #[test]
    fn below_zero_is_a_negative_word() {
        assert_eq!(tenths(-1.0), 0xFFF6);
        assert!((from_tenths(0xFFF6) + 1.0).abs() < 1e-12);
    }

    #[test]
    fn a_temperature_too_large_is_not_taken_for_an_open_sensor() {
        assert_eq!(tenths(1e6), SENSOR_OPEN - 1);
        let mut c = controller();
        c.scan(None, 0.5);
        assert_eq!(read(&c, at::PV), Some(SENSOR_OPEN));
        assert_eq!(read(&c, at::STATUS), Some(SENSOR_FAULT | ALARM_HIGH));
    }

    #[test]
    fn the_autotune_command_starts_and_aborts_and_the_status_bit_follows() {
        let mut c = controller();
        Annealer
            .write_words(&mut c, at::AUTOTUNE_COMMAND, &[1])
            .unwrap();
        assert_eq!(
            read(&c, at::STATUS).unwrap() & AUTOTUNE_ACTIVE,
            AUTOTUNE_ACTIVE
        );
        assert_eq!(read(&c, at::AUTOTUNE_COMMAND), Some(1));
        Annealer
            .write_words(&mut c, at::AUTOTUNE_COMMAND, &[0])
            .unwrap();
        assert_eq!(read(&c, at::STATUS).unwrap() & AUTOTUNE_ACTIVE, 0);
        assert_eq!(read(&c, at::AUTOTUNE_RESULT), Some(4));
    }

    #[test]
    fn whatever_is_writable_reads_back_as_written() {
        let mut c = controller();
        for (address, word) in [
            (at::SETPOINT, 5100),
            (at::MODE, 1),
            (at::AUTOTUNE_LIMIT, 600),
            (at::BAND, 123),
            (at::INTEGRAL, 456),
            (at::DERIVATIVE, 78),
            (at::CYCLE, 15),
            (at::SETPOINT_HIGH, 5500),
            (at::SETPOINT_LOW, 1000),
            (at::OUTPUT_HIGH, 900),
            (at::OUTPUT_LOW, 50),
            (at::MANUAL_OUTPUT, 333),
            (at::ALARM, 5400),
            (at::RAMP, 25),
        ] {
            Annealer.write_words(&mut c, address, &[word]).unwrap();
            assert_eq!(read(&c, address), Some(word), "register {address}");
        }
    }

    #[test]
    fn read_only_and_missing_registers_are_illegal_addresses_and_bad_values_illegal_values() {
        let mut c = controller();
        let mut write = |address, word| Annealer.write_words(&mut c, address, &[word]);
        assert_eq!(write(at::PV, 1), Err(Exception::IllegalAddress));
        assert_eq!(write(7, 1), Err(Exception::IllegalAddress));
        assert_eq!(write(at::SETPOINT, 6001), Err(Exception::IllegalValue));
        assert_eq!(write(at::MODE, 2), Err(Exception::IllegalValue));
        assert_eq!(write(at::MANUAL_OUTPUT, 100), Err(Exception::DeviceFailure));
        assert_eq!(read(&c, 7), None);
    }
}
