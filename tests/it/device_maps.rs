//! The maps in `configs` against the controllers they describe: what a map makes of the registers
//! of a simulated controller is what that controller's front shows.

use emberline::map::{Address, Image, Map, Role, Table};
use emberline::sample::Reading;
use mock_device::Tuning;
use mock_device::controller::{Controller, Settings};
use mock_device::registers::{Bits, LAYOUTS, Layout, Words};

const HIGHEST_ADDRESS: u16 = 60;

/// A controller every number of which is different.
fn controller() -> Controller {
    let mut settings = Settings::as_delivered(Tuning::new(12.3, 456.0, 78.0), 505.5);
    settings.setpoint_low = 100.0;
    settings.setpoint_high = 550.0;
    settings.output_low = 5.0;
    settings.output_high = 90.0;
    settings.cycle_s = 15.0;
    settings.alarm_high = 540.0;
    settings.ramp_per_min = 2.5;
    Controller::new(settings, 489.7, 41.5)
}

fn image(layout: &dyn Layout, controller: &Controller) -> Image {
    let mut image = Image::default();
    for address in 0..HIGHEST_ADDRESS {
        for (ours, theirs) in [
            (Table::Input, Words::Input),
            (Table::Holding, Words::Holding),
        ] {
            let word = layout.word(controller, theirs, address);
            image.put_words(ours, Address(address), word.as_slice());
        }
        for (ours, theirs) in [(Table::Discrete, Bits::Discrete), (Table::Coil, Bits::Coil)] {
            let bit = layout.bit(controller, theirs, address);
            image.put_bits(ours, Address(address), bit.as_slice());
        }
    }
    image
}

fn shown(controller: &Controller, role: Role) -> Option<f64> {
    let s = controller.settings();
    Some(match role {
        Role::ProcessValue => controller.pv()?,
        Role::Setpoint | Role::WorkingSetpoint => s.setpoint,
        Role::Output | Role::ManualOutput => controller.output(),
        Role::Proportional => s.tuning.band,
        Role::Integral => s.tuning.integral_s,
        Role::Derivative => s.tuning.derivative_s,
        Role::CycleTime => s.cycle_s,
        Role::SetpointHigh => s.setpoint_high,
        Role::SetpointLow => s.setpoint_low,
        Role::OutputHigh => s.output_high,
        Role::OutputLow => s.output_low,
        Role::AlarmSetpoint => s.alarm_high,
        Role::RampRate => s.ramp_per_min,
        _ => return None,
    })
}

fn map_of(layout: &dyn Layout) -> Map {
    Map::parse(layout.map_text(), layout.name()).unwrap()
}

#[test]
fn every_number_reads_through_the_map_as_the_front_shows_it() {
    let controller = controller();
    for layout in LAYOUTS {
        let (map, image) = (map_of(layout), image(layout, &controller));
        let mut compared = 0;
        for point in &map.points {
            let name = format!("{} {}", layout.name(), point.name);
            let Reading::Good(number) = map.read(point, &image) else {
                panic!("{name}: no value");
            };
            if let Some(expected) = shown(&controller, point.role) {
                let read = number.as_f64();
                assert!((read - expected).abs() < 1e-9, "{name}: {read}");
                compared += 1;
            }
        }
        assert_eq!(compared, 15, "{}", layout.name());
    }
}

#[test]
fn an_autotune_and_an_open_sensor_read_through_the_map_as_what_they_are() {
    for layout in LAYOUTS {
        let map = map_of(layout);
        let point = |role| map.points.iter().find(|point| point.role == role).unwrap();
        let active = |controller: &Controller| {
            let Reading::Good(number) =
                map.read(point(Role::AutotuneActive), &image(layout, controller))
            else {
                panic!("{}: no autotune bit", layout.name());
            };
            number.as_f64() > 0.0
        };
        let mut controller = controller();
        assert!(!active(&controller));
        controller.start_autotune().unwrap();
        assert!(active(&controller));
        controller.scan(None, 0.5);
        assert!(!active(&controller));
        let pv = map.read(point(Role::ProcessValue), &image(layout, &controller));
        let Reading::Fault(fault) = pv else {
            panic!("{}: {pv:?}", layout.name());
        };
        assert_eq!(&*fault.meaning, "sensor open");
    }
}

#[test]
fn a_map_asks_for_no_longer_block_than_its_controller_answers() {
    for layout in LAYOUTS {
        assert_eq!(map_of(layout).access.max_words, layout.max_words());
    }
}
