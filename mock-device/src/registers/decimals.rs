//! `decimals`: 16-bit integers with as many decimals as the display shows. Change them at its front
//! and every scale changes with them. Its autotune command can only be written.

use super::{Item, Layout, Manual, Numbering, Setting, State, What};

/// What the process value reads while the sensor is open.
const SENSOR_OPEN: u16 = 0x8000;

const ITEMS: [Item; 22] = [
    displayed(256, What::ProcessValue).broken(SENSOR_OPEN as u32),
    displayed(257, What::Set(Setting::Setpoint)).writable(),
    displayed(258, What::WorkingSetpoint),
    displayed(259, What::Output),
    Item::holding(260, What::State(State::Operation)),
    Item::holding(261, What::State(State::Alarm)),
    Item::holding(262, What::State(State::TuneResult)),
    Item::holding(512, What::Set(Setting::Decimals)).writable(),
    displayed(513, What::Set(Setting::Band)).writable(),
    Item::holding(514, What::Set(Setting::Integral)).writable(),
    Item::holding(515, What::Set(Setting::Derivative)).writable(),
    Item::holding(516, What::Set(Setting::Cycle)).writable(),
    displayed(517, What::Set(Setting::SetpointHigh)).writable(),
    displayed(518, What::Set(Setting::SetpointLow)).writable(),
    displayed(519, What::Set(Setting::OutputHigh)).writable(),
    displayed(520, What::Set(Setting::OutputLow)).writable(),
    displayed(521, What::Set(Setting::ManualOutput)).writable(),
    displayed(522, What::Set(Setting::Alarm)).writable(),
    displayed(523, What::Set(Setting::Ramp)).writable(),
    displayed(524, What::Set(Setting::AutotuneLimit)).writable(),
    Item::holding(768, What::State(State::Mode)).writable(),
    Item::holding(769, What::State(State::TuneCommand)).command([0x5350, 0x5354]),
];

const fn displayed(address: u16, what: What) -> Item {
    Item::holding(address, what).as_displayed()
}

/// A controller that sends what its display shows, without the point.
#[derive(Clone, Copy, Debug)]
pub struct DecimalPoint;

impl Layout for DecimalPoint {
    fn name(&self) -> &'static str {
        "decimals"
    }

    fn map_text(&self) -> &'static str {
        include_str!("../../../configs/maps/decimals.toml")
    }

    fn items(&self) -> &[Item] {
        &ITEMS
    }

    fn manual(&self) -> Manual {
        Manual {
            numbering: Numbering::OneBased,
            ..Manual::default()
        }
    }

    fn max_words(&self) -> u16 {
        16
    }
}

#[cfg(test)]
mod tests {
    use super::*;
    use crate::controller::{AutotuneState, Controller, Settings, Tuning};
    use crate::registers::{Exception, Words};

    fn controller() -> Controller {
        let settings = Settings::as_delivered(Tuning::new(28.4, 140.0, 35.0), 490.0);
        Controller::new(settings, 489.7, 41.3)
    }

    #[test]
    fn the_decimals_of_the_display_change_every_scale_and_what_is_written_too() {
        let mut c = controller();
        let read = |c: &Controller, address| DecimalPoint.word(c, Words::Holding, address);
        let shown = |c: &Controller| [256, 257, 259, 513, 514].map(|a| read(c, a).unwrap());
        assert_eq!(shown(&c), [4897, 4900, 413, 284, 140]);
        c.set_decimals(0.0).unwrap();
        assert_eq!(shown(&c), [490, 490, 41, 28, 140]);
        DecimalPoint.write_words(&mut c, 257, &[505]).unwrap();
        assert!((c.settings().setpoint - 505.0).abs() < 1e-9);
        DecimalPoint.write_words(&mut c, 512, &[1]).unwrap();
        assert_eq!(read(&c, 257), Some(5050));
        let refused = DecimalPoint.write_words(&mut c, 512, &[2]);
        assert_eq!(refused, Err(Exception::IllegalValue));
    }

    #[test]
    fn the_command_can_be_written_and_not_read() {
        let mut c = controller();
        assert_eq!(DecimalPoint.word(&c, Words::Holding, 769), None);
        DecimalPoint.write_words(&mut c, 769, &[0x5354]).unwrap();
        assert_eq!(c.autotune(), AutotuneState::Active);
        assert_eq!(DecimalPoint.word(&c, Words::Holding, 260), Some(2));
        DecimalPoint.write_words(&mut c, 769, &[0x5350]).unwrap();
        assert_eq!(c.autotune(), AutotuneState::Aborted);
        let refused = DecimalPoint.write_words(&mut c, 769, &[1]);
        assert_eq!(refused, Err(Exception::IllegalValue));
    }
}
