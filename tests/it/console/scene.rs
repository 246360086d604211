//! A screen fed by an invented oven: every picture is the same on every machine.

use std::sync::Arc;
use std::time::Duration;

use chrono::{DateTime, FixedOffset, Utc};
use emberline::clock::Stamp;
use emberline::console::{App, Depth, Look, LoopFacts, Recording, ScreenFacts};
use emberline::map::{AutotuneHabit, Tunes};
use emberline::name::Name;
use emberline::number::Number;
use emberline::roles::{Autotune, Roles};
use emberline::sample::{
    AnswerTimes, Entry, Event, Fault, Happening, Health, Reading, Sample, State, Why,
};
use emberline::unit::{Degrees, Quantity};
use ratatui::Terminal;
use ratatui::backend::TestBackend;
use ratatui::buffer::Cell;
use ratatui::crossterm::event::{KeyCode, KeyEvent, KeyModifiers};
use ratatui::layout::Size;
use rust_decimal::Decimal;

/// A screen and the time it has come to.
pub(super) struct Scene {
    pub(super) app: App,
    size: Size,
    names: Vec<Name>,
    second: u32,
    /// What the controllers are set to.
    unit: &'static str,
}

impl Scene {
    /// A screen for so many loops that has seen nothing yet.
    pub(super) fn new(loops: usize, size: (u16, u16)) -> Self {
        Self::with_look(loops, size, Look::of(Depth::True, false))
    }

    pub(super) fn with_look(loops: usize, size: (u16, u16), look: Look) -> Self {
        Self::of(loops, size, look, Recording::Here(stamp(0)))
    }

    /// A screen for one loop that shows temperatures in this unit.
    pub(super) fn in_degrees(size: (u16, u16), degrees: Degrees) -> Self {
        let look = Look::of(Depth::True, false);
        let shown = Some(degrees);
        Self::shown_in(1, size, look, Recording::Here(stamp(0)), shown)
    }

    /// A screen for one loop that only looks.
    pub(super) fn not_recording(size: (u16, u16)) -> Self {
        Self::of(1, size, Look::of(Depth::True, false), Recording::No)
    }

    fn of(loops: usize, size: (u16, u16), look: Look, recording: Recording) -> Self {
        Self::shown_in(loops, size, look, recording, None)
    }

    fn shown_in(
        loops: usize,
        (width, height): (u16, u16),
        look: Look,
        recording: Recording,
        degrees: Option<Degrees>,
    ) -> Self {
        let names: Vec<Name> = (0..loops).map(name).collect();
        let screen = ScreenFacts {
            title: "Annealing oven 2".to_owned(),
            loops: names.iter().cloned().map(facts).collect(),
            recording,
            listens: false,
            goes_on: String::new(),
            look,
            zone: |_| FixedOffset::east_opt(0).unwrap(),
        };
        let size = Size::new(width, height);
        Self {
            app: App::new(screen.shown_in(degrees), stamp(0), size),
            size,
            names,
            second: 0,
            unit: "degC",
        }
    }

    /// Polls every loop once a second for a while; `values` gives process value, setpoint and
    /// output from the second counted from here.
    pub(super) fn poll(mut self, seconds: u32, values: impl Fn(f64) -> [f64; 3]) -> Self {
        for t in 0..seconds {
            let [pv, setpoint, output] = values(f64::from(t));
            self.sample(State::Good, |i| {
                let apart = i as f64 * 0.3;
                vec![
                    tenths(pv + apart),
                    tenths(setpoint),
                    tenths(output),
                    whole(0),
                ]
            });
        }
        self
    }

    /// Somebody switches the controllers to this unit; what they send from now on is in it.
    pub(super) fn switched_to(mut self, unit: &'static str) -> Self {
        self.unit = unit;
        self
    }

    /// The same while an autotune is under way.
    pub(super) fn tune(mut self, seconds: u32, values: impl Fn(f64) -> [f64; 3]) -> Self {
        for t in 0..seconds {
            let [pv, setpoint, output] = values(f64::from(t));
            self.sample(State::Good, |_| {
                vec![tenths(pv), tenths(setpoint), tenths(output), whole(1)]
            });
        }
        self
    }

    /// Nothing comes for a while.
    pub(super) fn lose(mut self, seconds: u32, why: Why) -> Self {
        for _ in 0..seconds {
            self.sample(State::Absent(why), |_| vec![Reading::Absent(why); 4]);
        }
        self
    }

    /// The sensor is open for a while, and the output stands.
    pub(super) fn open_sensor(mut self, seconds: u32, setpoint: f64, output: f64) -> Self {
        for _ in 0..seconds {
            self.sample(State::Faulty, |_| {
                let fault = Fault {
                    meaning: "sensor open".into(),
                    raw: vec![0x7FFF],
                };
                vec![
                    Reading::Fault(fault),
                    tenths(setpoint),
                    tenths(output),
                    whole(0),
                ]
            });
        }
        self
    }

    pub(super) fn event(mut self, what: Happening, text: &str) -> Self {
        self.app.on_entry(&Entry::Event(Event {
            of: None,
            stamp: stamp(self.second),
            what,
            text: text.to_owned(),
        }));
        self
    }

    /// The line tells how well each loop's unit answers: of so many exchanges each, how many were
    /// answered, and why the others were not.
    pub(super) fn health(mut self, told: &[(u64, &[(Why, u64)])]) -> Self {
        for (of, (answered, lost)) in self.names.iter().zip(told) {
            let ms = Duration::from_millis;
            let times = AnswerTimes {
                median: ms(26),
                p95: ms(31),
                p99: ms(38),
                slowest: ms(44),
            };
            self.app.on_entry(&Entry::Health(Health {
                of: of.clone(),
                stamp: stamp(self.second),
                answered: *answered,
                lost: lost.to_vec(),
                alternations: 0,
                answer_times: (*answered > 0).then_some(times),
                longest_silence: Duration::from_secs(7),
                line_share: 0.061,
            }));
        }
        self
    }

    /// Presses keys one after the other.
    pub(super) fn keys(mut self, keys: &[KeyCode]) -> Self {
        for code in keys {
            self.app.on_key(KeyEvent::new(*code, KeyModifiers::NONE));
        }
        self
    }

    /// Types a text.
    pub(super) fn types(self, text: &str) -> Self {
        let keys: Vec<KeyCode> = text.chars().map(KeyCode::Char).collect();
        self.keys(&keys)
    }

    /// The same in a window of another size.
    pub(super) fn resized(mut self, (width, height): (u16, u16)) -> Self {
        self.size = Size::new(width, height);
        self.app.on_resize(self.size);
        self
    }

    /// The picture.
    pub(super) fn drawn(&mut self) -> Terminal<TestBackend> {
        let backend = TestBackend::new(self.size.width, self.size.height);
        let mut terminal = Terminal::new(backend).unwrap();
        terminal.draw(|frame| self.app.draw(frame)).unwrap();
        terminal
    }

    /// The picture as lines of text.
    pub(super) fn text(&mut self) -> String {
        let terminal = self.drawn();
        let buffer = terminal.backend().buffer();
        let rows = buffer.content().chunks(usize::from(buffer.area.width));
        rows.map(|row| row.iter().map(Cell::symbol).collect::<String>() + "\n")
            .collect()
    }

    fn sample(&mut self, state: State, readings: impl Fn(usize) -> Vec<Reading>) {
        for (i, of) in self.names.iter().enumerate() {
            self.app.on_entry(&Entry::Sample(Sample {
                of: of.clone(),
                stamp: stamp(self.second),
                state,
                readings: Arc::from(readings(i)),
                units: Arc::from([self.unit, self.unit, "%", ""].map(|unit| Some(unit.into()))),
            }));
        }
        self.second += 1;
    }
}

/// The oven holds, then follows a step of 20 degrees: a damped ring with a period of 20 minutes.
pub(super) fn step(t: f64) -> [f64; 3] {
    if t < 300.0 {
        return [490.0 + ripple(t), 490.0, 45.0];
    }
    let since = t - 300.0;
    let ring = (-since / 600.0).exp() * (since / 190.0).cos();
    let output =
        (47.0 + 60.0 * (-since / 600.0).exp() * (since / 190.0 + 0.6).cos()).clamp(0.0, 100.0);
    [510.0 - 20.0 * ring + ripple(t), 510.0, output]
}

/// The oven holds its setpoint.
pub(super) fn hold(t: f64) -> [f64; 3] {
    [510.0 + ripple(t), 510.0, 47.0]
}

/// The output switches, the process value swings.
pub(super) fn swing(t: f64) -> [f64; 3] {
    let phase = t / 300.0 * std::f64::consts::TAU;
    let output = if phase.sin() > 0.0 { 100.0 } else { 0.0 };
    [510.0 - 6.0 * (phase + 0.9).cos(), 510.0, output]
}

fn ripple(t: f64) -> f64 {
    0.1 * (t / 7.0).sin()
}

fn stamp(second: u32) -> Stamp {
    let began: DateTime<Utc> = "2027-03-04T06:00:00Z".parse().unwrap();
    let elapsed = Duration::from_secs(u64::from(second));
    Stamp {
        elapsed,
        time: began + elapsed,
    }
}

fn name(i: usize) -> Name {
    match i {
        0 => "annealer-top".parse().unwrap(),
        1 => "annealer-base".parse().unwrap(),
        _ => format!("zone-{i}").parse().unwrap(),
    }
}

fn facts(name: Name) -> LoopFacts {
    LoopFacts {
        name,
        unit: "degC".to_owned(),
        quantities: vec![Quantity::Temperature; 4],
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
            autotune: Some(Autotune {
                index: 3,
                active: Vec::new(),
            }),
            ..Roles::default()
        },
    }
}

fn tenths(value: f64) -> Reading {
    Reading::Good(Number::Decimal(Decimal::new(
        (value * 10.0).round() as i64,
        1,
    )))
}

fn whole(value: i64) -> Reading {
    Reading::Good(Number::Decimal(Decimal::new(value, 0)))
}
