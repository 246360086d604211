//! Layouts that nobody has seen before: what a map made from a controller's printed manual reads over
//! the wire is what the controller holds.

mod technician;

use mock_device::Tuning;
use mock_device::controller::Controller;
use mock_device::registers::{Broken, Item, Kind, Layout, Random, TOP_OF_RANGE, What};

use super::device_maps::Act;
use super::device_maps::bench::Bench;
use super::device_maps::truth::Truth;
use technician::Technician;

const SEEDS: std::ops::Range<u64> = 0..300;

/// What happens between two readings.
const STORY: [(&str, Act); 3] = [
    ("as it was found", |_| {}),
    ("changed at the panel", |oven| {
        let c = &mut oven.controller;
        c.set_tuning(Tuning::new(12.3, 456.0, 78.0)).unwrap();
        c.set_setpoint_limits((100.0, 550.0)).unwrap();
        c.set_output_limits((5.0, 90.0)).unwrap();
        c.set_ramp(2.5).unwrap();
        c.set_setpoint(505.5).unwrap();
        c.go_manual_at(33.3).unwrap();
        c.set_decimals(0.0).unwrap();
    }),
    ("tuning, and then the sensor breaks", |oven| {
        oven.controller.go_automatic();
        oven.controller.start_autotune().unwrap();
        oven.plant.set_sensor_broken(true);
    }),
];

/// What an item should read.
fn truth(item: &Item, c: &Controller) -> Truth {
    let number = match item.what {
        What::State(state) => return Truth::Named(state.names()[state.now(c)]),
        what => what.number(c).unwrap(),
    };
    let number = match (number, item.broken) {
        (Some(number), _) => number,
        (None, Broken::Top) => TOP_OF_RANGE,
        (None, Broken::Raw(_)) => return Truth::SensorOpen,
    };
    match item.what.kind() {
        Kind::Temperature => Truth::Temperature(number),
        Kind::Difference => match item.unit {
            mock_device::registers::Unit::PercentOfSpan(span) => {
                Truth::Number(100.0 * number / span)
            }
            _ => Truth::Difference(number),
        },
        Kind::Rate => Truth::Difference(number),
        Kind::Time => Truth::Time(number),
        Kind::Percent | Kind::Count => Truth::Number(number),
    }
}

#[test]
fn what_is_read_through_a_map_made_from_the_printed_manual_is_what_the_controller_holds() {
    let mut compared = 0;
    for seed in SEEDS {
        let layout: &'static Random = Box::leak(Box::new(Random::new(seed)));
        let technician = Technician::with_the_manual_of(layout);
        let mut bench = Bench::new(layout, &technician.map());
        for (act, how) in STORY {
            bench.act(how);
            let oven = bench.oven();
            for (point, seen) in bench.read() {
                let item = technician.item(&point.name);
                let truth = truth(item, &oven.controller);
                let wrong = truth.differs(&point, &seen, bench.map());
                assert_eq!(wrong, None, "seed {seed}, {act}: {} {item:?}", point.name);
                compared += 1;
            }
        }
    }
    // Fifteen points of each, at least.
    assert!(compared > SEEDS.end * 3 * 15, "{compared}");
}

#[test]
fn every_listed_item_has_one_row_of_the_manual() {
    for seed in SEEDS {
        let layout: &'static Random = Box::leak(Box::new(Random::new(seed)));
        let rows = Technician::with_the_manual_of(layout).rows();
        let listed = layout.items().iter().filter(|item| item.is_listed).count();
        assert_eq!(rows, listed, "seed {seed}");
    }
}
