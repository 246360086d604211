//! The maps in `configs` against the controllers they describe: what a map makes of a simulated
//! controller's registers, read over the wire, is what that controller's front shows.

pub(crate) mod bench;
mod rescaled;
pub(crate) mod truth;

use std::collections::BTreeSet;

use emberline::line::Seen;
use emberline::map::{Address, Image, Map, Place, Table};
use emberline::number::Number;
use mock_device::controller::Controller;
use mock_device::registers::{self, LAYOUTS, Layout};
use mock_device::{LEFT_OVER_TUNING, Oven, Tuning};

use bench::Bench;
use truth::Truth;

/// What a person does at the front, or to the oven, before the registers are looked at again.
pub(crate) type Act = fn(&mut Oven);

/// Every number is another in the end, and every state was seen.
const STORY: [(&str, Act); 9] = [
    ("as it was found", |_| {}),
    ("limits, alarm, ramp", |oven| {
        let c = &mut oven.controller;
        c.set_setpoint_limits((100.0, 550.0)).unwrap();
        c.set_output_limits((5.0, 90.0)).unwrap();
        c.set_cycle_time(15.0).unwrap();
        c.set_alarm_high(480.0).unwrap();
        c.set_ramp(2.5).unwrap();
        c.set_autotune_limit(60.0).unwrap();
    }),
    ("setpoint and tuning", |oven| {
        oven.controller.set_setpoint(505.5).unwrap();
        let tuning = Tuning::new(12.3, 456.0, 78.0);
        oven.controller.set_tuning(tuning).unwrap();
    }),
    ("manual", |oven| oven.controller.go_manual_at(33.3).unwrap()),
    ("no decimals", |oven| {
        oven.controller.set_decimals(0.0).unwrap();
    }),
    ("an autotune", |oven| {
        oven.controller.go_automatic();
        oven.controller.start_autotune().unwrap();
    }),
    ("one decimal again, unlocked", |oven| {
        oven.controller.set_decimals(1.0).unwrap();
        oven.controller.set_unlocked(true);
    }),
    ("a broken sensor", |oven| oven.plant.set_sensor_broken(true)),
    ("a cold oven", |oven| {
        *oven = Oven::cold(LEFT_OVER_TUNING, 7);
    }),
];

/// Where a layout has something, or takes something.
fn places(layout: &dyn Layout) -> BTreeSet<Place> {
    let place = |item: &registers::Item| Place {
        table: table(item.table),
        address: Address(item.address),
        count: item.length(),
    };
    layout.items().iter().map(place).collect()
}

fn table(table: registers::Table) -> Table {
    match table {
        registers::Table::Coil => Table::Coil,
        registers::Table::Discrete => Table::Discrete,
        registers::Table::Input => Table::Input,
        registers::Table::Holding => Table::Holding,
    }
}

/// Reads every point of a map over the wire, from the beginning of the story to its end.
pub(crate) fn reads_right(layout: &'static dyn Layout, map: &str) {
    let mut bench = Bench::new(layout, map);
    for (act, how) in STORY {
        bench.act(how);
        let oven = bench.oven();
        for (point, seen) in bench.read() {
            let truth = Truth::of(&oven, &point, bench.map());
            let wrong = truth.differs(&point, &seen, bench.map());
            assert_eq!(wrong, None, "{}, {act}: {}", layout.name(), point.name);
        }
    }
}

#[test]
fn every_point_reads_through_its_map_over_the_wire_as_the_front_shows_it() {
    for layout in LAYOUTS {
        reads_right(layout, layout.map_text());
    }
}

#[test]
fn nothing_is_remarked_about_a_healthy_controller_and_a_broken_sensor_is() {
    for layout in LAYOUTS {
        let mut bench = Bench::new(layout, layout.map_text());
        for (act, how) in STORY {
            bench.act(how);
            let remarks = bench.look().remarks;
            let about: Vec<(&str, &str)> = remarks
                .iter()
                .map(|remark| (remark.code, remark.about.as_str()))
                .collect();
            let expected = if act == "a broken sensor" {
                &[("fault-value", "pv")][..]
            } else {
                &[]
            };
            assert_eq!(about, expected, "{}, {act}: {remarks:?}", layout.name());
        }
    }
}

#[test]
fn a_map_names_every_register_of_its_controller_and_asks_for_no_longer_block_than_it_answers() {
    for layout in LAYOUTS {
        let map = Map::parse(layout.map_text(), layout.name()).unwrap();
        assert_eq!(map.access.max_words, layout.max_words());
        let named: BTreeSet<Place> = map.points.iter().map(|point| point.place).collect();
        assert_eq!(named, places(layout), "{}", layout.name());
    }
}

/// Whoever reads a controller that needs a rest without giving it one misses answers.
#[test]
fn a_map_that_knows_of_no_rest_fails_where_one_is_needed() {
    let layout = registers::layout("bits").unwrap();
    let text = layout.map_text().replace("gap = \"45 ms\"\n", "");
    let absent = |text: &str| {
        let seen = Bench::new(layout, text).read();
        let is_absent = |seen: &Seen| seen.raw.is_none();
        seen.iter().filter(|(_, seen)| is_absent(seen)).count()
    };
    assert_eq!(absent(layout.map_text()), 0);
    assert!(absent(&text) > 5);
}

/// The lock of a map opens its controller.
#[test]
fn what_a_map_says_is_written_before_a_change_unlocks_the_controller() {
    let layout = registers::layout("locked").unwrap();
    let map = Map::parse(layout.map_text(), "locked").unwrap();
    let mut controller: Controller = Oven::cold(LEFT_OVER_TUNING, 1).controller;
    let mut write = |name: &str, value: &str| {
        let name = name.parse().unwrap();
        let point = map.point(&name).unwrap();
        let value = Number::Decimal(value.parse().unwrap());
        let words = map.encode(point, value, &Image::default());
        layout.write_words(&mut controller, point.place.address.0, &words.unwrap())
    };
    assert_eq!(
        write("band", "3.5"),
        Err(registers::Exception::DeviceFailure)
    );
    for step in &map.unlock_before {
        write(step.point.as_str(), &step.value.to_string()).unwrap();
    }
    write("band", "3.5").unwrap();
    for step in &map.unlock_after {
        write(step.point.as_str(), &step.value.to_string()).unwrap();
    }
    assert_eq!(
        write("band", "4.0"),
        Err(registers::Exception::DeviceFailure)
    );
    // 3.5 % of 800 degC.
    assert!((controller.settings().tuning.band - 28.0).abs() < 1e-9);
}
