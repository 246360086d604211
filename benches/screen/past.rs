//! A screen with a past: an oven that holds, with a step every day and noise.

use std::sync::Arc;
use std::time::Duration;

use chrono::{DateTime, FixedOffset, Utc};
use emberline::clock::Stamp;
use emberline::console::{App, Depth, Look, LoopFacts, Recording, ScreenFacts};
use emberline::map::{AutotuneHabit, Tunes};
use emberline::name::Name;
use emberline::number::Number;
use emberline::roles::Roles;
use emberline::sample::{Entry, Reading, Sample, State};
use emberline::unit::Quantity;
use ratatui::layout::Size;
use rust_decimal::Decimal;

pub(crate) const WEEK_S: u32 = 604_800;

/// Values second by second, the same each time.
#[derive(Clone, Debug, Default)]
pub(crate) struct Oven {
    noise: u64,
}

impl Oven {
    /// Process value, setpoint and output at a second.
    pub(crate) fn at(&mut self, second: u32) -> [f64; 3] {
        // Knuth's 64-bit linear congruential generator, as good as any here.
        self.noise = self
            .noise
            .wrapping_mul(6_364_136_223_846_793_005)
            .wrapping_add(1_442_695_040_888_963_407);
        let noise = (self.noise >> 33) as f64 / f64::from(1_u32 << 31) - 0.5;
        let since = f64::from(second % 86_400);
        let step = -20.0 * (-since / 400.0).exp();
        [510.0 + step + 0.3 * noise, 510.0, 45.0 - step + 2.0 * noise]
    }
}

pub(crate) fn stamp(second: u32) -> Stamp {
    let began: DateTime<Utc> = "2027-03-04T06:00:00Z".parse().unwrap();
    let elapsed = Duration::from_secs(u64::from(second));
    Stamp {
        elapsed,
        time: began + elapsed,
    }
}

/// A screen for so many loops that has seen so many seconds; the window is set with each picture.
pub(crate) fn app(loops: usize, mut oven: Oven, seconds: u32) -> App {
    let names: Vec<Name> = (0..loops)
        .map(|i| format!("zone-{i}").parse().unwrap())
        .collect();
    let screen = ScreenFacts {
        title: "Annealing oven 2".to_owned(),
        loops: names.iter().cloned().map(facts).collect(),
        recording: Recording::Here(stamp(0)),
        listens: false,
        goes_on: String::new(),
        look: Look::of(Depth::True, false),
        zone: |_| FixedOffset::east_opt(0).unwrap(),
    };
    let mut app = App::new(screen, stamp(0), Size::new(120, 40));
    for second in 0..seconds {
        let values = oven.at(second);
        for name in &names {
            app.on_entry(&sample(name, second, values));
        }
    }
    app
}

/// A poll.
pub(crate) fn sample(of: &Name, second: u32, values: [f64; 3]) -> Entry {
    let reading = |value: f64| {
        let tenths = Decimal::new((value * 10.0).round() as i64, 1);
        Reading::Good(Number::Decimal(tenths))
    };
    Entry::Sample(Sample {
        of: of.clone(),
        stamp: stamp(second),
        state: State::Good,
        readings: Arc::from(values.map(reading)),
        units: Arc::from(["degC", "degC", "%"].map(|unit| Some(unit.into()))),
    })
}

fn facts(name: Name) -> LoopFacts {
    LoopFacts {
        name,
        unit: "degC".to_owned(),
        quantities: vec![Quantity::Temperature; 3],
        band: Some(2.0),
        controller: "Annealer controller".to_owned(),
        decimals: Some(1),
        line: "shop 9600 8E1".to_owned(),
        every: Duration::from_secs(1),
        habit: Some(AutotuneHabit {
            swings: 3,
            tunes_at: Tunes::Setpoint,
        }),
        roles: Roles {
            pv: 0,
            setpoint: Some(1),
            output: Some(2),
            ..Roles::default()
        },
    }
}
