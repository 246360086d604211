//! Decimals that are changed at the panel while the controller is polled.

use std::time::Duration;

use emberline::clock::Clock;
use emberline::line::{Manner, Start};
use emberline::map::{Map, Role};
use emberline::sample::{Entry, Happening, State};
use emberline::session::{Opening, Session};
use mock_device::registers::{DecimalPoint, Layout as _};
use mock_device::wire::{Bus, Timing, Unit};
use mock_device::{LEFT_OVER_TUNING, Oven, Panel};
use tokio::sync::broadcast::error::RecvError;
use tokio_util::sync::CancellationToken;

use super::bench::{opener, setup};

/// Polls of a second each.
const POLLS: u32 = 1200;
/// Between two changes at the panel: not in step with the polls, so that every place between two
/// blocks is met.
const CHANGE_EVERY: Duration = Duration::from_millis(3007);

/// What was polled meanwhile.
async fn polled(map: &str) -> Vec<Entry> {
    let panel = Panel::new(Oven::settled_at(490.0, LEFT_OVER_TUNING, 1), 1.0);
    let mut bus = Bus::new(vec![Unit::new(1, &DecimalPoint, panel.clone())]);
    bus.timing = Timing::at_baud(2400, Duration::from_millis(30));
    tokio::spawn(async move {
        for decimals in [0.0, 1.0].into_iter().cycle() {
            tokio::time::sleep(CHANGE_EVERY).await;
            panel
                .with(|oven| oven.controller.set_decimals(decimals))
                .unwrap();
        }
    });
    let setup = setup(map);
    let mut opener = |line: &_| opener(line, &bus);
    let stop = CancellationToken::new();
    let mut opening = Opening::new(&setup, Manner::Ask, &mut opener, &stop);
    for line in std::mem::take(&mut opening.lines) {
        tokio::spawn(line);
    }
    opening.wait(|_| {}).await.unwrap();
    let clock = Clock::starting_at(chrono::DateTime::UNIX_EPOCH);
    let end = Some(Duration::from_secs(POLLS.into()));
    let Session { hub, live, .. } = opening.begin(
        &setup,
        Start {
            end,
            ..Start::of(clock)
        },
        None,
    );
    let mut entries = live.subscribe();
    drop(live);
    tokio::spawn(hub);
    let mut all = Vec::new();
    loop {
        match entries.recv().await {
            Ok(entry) => all.push(entry),
            Err(RecvError::Closed) => return all,
            Err(RecvError::Lagged(missed)) => unreachable!("{missed} entries were missed"),
        }
    }
}

/// How many samples are good; every value in them has to be right.
fn good_samples(map: &Map, entries: &[Entry]) -> usize {
    let mut good = 0;
    for entry in entries {
        let Entry::Sample(sample) = entry else {
            continue;
        };
        for (point, reading) in map.trend_points().zip(sample.readings.iter()) {
            let plausible = match point.role {
                Role::ProcessValue | Role::Setpoint => 460.0..=520.0,
                Role::Output => 20.0..=100.0,
                _ => continue,
            };
            if let Some(value) = reading.value() {
                assert!(
                    plausible.contains(&value),
                    "{} {value} in {sample:?}",
                    point.name
                );
            }
        }
        good += usize::from(sample.state == State::Good);
    }
    good
}

fn told(entries: &[Entry]) -> Vec<&str> {
    let told = entries.iter().filter_map(|entry| match entry {
        Entry::Event(event) if event.what == Happening::SettingsChanged => Some(&*event.text),
        _ => None,
    });
    told.collect()
}

#[tokio::test(start_paused = true)]
async fn values_stay_right_while_the_decimals_are_changed_and_an_event_tells_each_time() {
    let mapped = DecimalPoint.map_text();
    let trend = mapped.replacen(
        "encoding = \"u16\"\nrefresh = \"settings\"\nwritable = { min = 0, max = 1 }",
        "encoding = \"u16\"\nwritable = { min = 0, max = 1 }",
        1,
    );
    assert_ne!(trend, mapped);
    let changes = (POLLS - 1) * 1000 / CHANGE_EVERY.as_millis() as u32;
    for text in [mapped, &trend] {
        let map = Map::parse(text, "decimals").unwrap();
        let entries = polled(text).await;
        let good = good_samples(&map, &entries);
        assert!(good as u32 >= POLLS - POLLS / 50, "{good}");
        let told = told(&entries);
        let decimals = ["decimals 1 -> 0", "decimals 0 -> 1"];
        assert!(told.iter().all(|text| decimals.contains(text)), "{told:?}");
        assert_eq!(told.len() as u32, changes);
    }
}
