//! Relay autotune: the output is switched between two levels about the setpoint until the process
//! value swings evenly, and the swings say what the loop is.

use super::rule::{Swing, Ultimate, ultimate};
use super::settings::Settings;

/// Swings agree when the largest differs from the smallest by less than this share of it.
const AGREEMENT: f64 = 0.25;

/// How the last autotune ended, or that one is under way.
#[derive(Clone, Copy, Debug, Default, PartialEq, Eq)]
pub enum AutotuneState {
    /// None was ever started.
    #[default]
    Never,
    /// Under way.
    Active,
    /// The tuning was changed.
    Tuned,
    /// Time ran out; the tuning is as before.
    TimedOut,
    /// A person stopped it, or changed what it depends on; the tuning is as before.
    Aborted,
    /// The sensor broke or the swings told nothing; the tuning is as before.
    Failed,
}

/// What one scan of an autotune came to.
#[derive(Clone, Copy, Debug, PartialEq)]
pub(crate) enum Progress {
    /// This output, percent; the relay has just switched or not.
    Going {
        /// Output, percent.
        output: f64,
        /// Whether it is another one than before.
        switched: bool,
    },
    /// The swings agree.
    Done {
        /// What they say.
        at: Ultimate,
        /// The mean output over them, percent: what held the temperature.
        mean_output: f64,
    },
    /// It ended without result.
    Ended(AutotuneState),
}

/// A relay experiment under way.
#[derive(Clone, Debug)]
pub(crate) struct Autotune {
    setpoint: f64,
    high: f64,
    low: f64,
    hysteresis: f64,
    elapsed_s: f64,
    on: bool,
    /// The swing that has begun; `None` until the relay has switched on for the first time.
    current: Option<Swing>,
    swings: Vec<Swing>,
}

impl Autotune {
    /// Begins about `setpoint`, with the process value at `pv`.
    pub(crate) fn begin(settings: &Settings, setpoint: f64, pv: f64) -> Self {
        let limit = settings.autotune.output_limit;
        Self {
            setpoint,
            high: settings.output_high.min(limit),
            low: settings.output_low,
            hysteresis: settings.autotune.hysteresis,
            elapsed_s: 0.0,
            on: pv < setpoint,
            current: None,
            swings: Vec::new(),
        }
    }

    /// Swings completed so far, the first one included.
    pub(crate) fn swings(&self) -> usize {
        self.swings.len()
    }

    /// One scan of `dt` seconds with the process value at `pv`.
    pub(crate) fn scan(&mut self, settings: &Settings, pv: f64, dt: f64) -> Progress {
        if self.elapsed_s >= settings.autotune.give_up_s {
            return Progress::Ended(AutotuneState::TimedOut);
        }
        self.elapsed_s += dt;
        let switched = self.switch(pv);
        if switched && self.on {
            self.swings.extend(self.current.take());
            if let Some(end) = self.judge(settings.autotune.swings) {
                return end;
            }
            self.current = Some(Swing {
                period_s: 0.0,
                on_s: 0.0,
                highest: pv,
                lowest: pv,
            });
        }
        self.follow(pv, dt);
        Progress::Going {
            output: if self.on { self.high } else { self.low },
            switched,
        }
    }

    /// Whether the relay changed over.
    fn switch(&mut self, pv: f64) -> bool {
        let over = if self.on {
            pv >= self.setpoint + self.hysteresis
        } else {
            pv <= self.setpoint - self.hysteresis
        };
        self.on ^= over;
        over
    }

    fn follow(&mut self, pv: f64, dt: f64) {
        if let Some(swing) = &mut self.current {
            swing.period_s += dt;
            swing.on_s += if self.on { dt } else { 0.0 };
            swing.highest = swing.highest.max(pv);
            swing.lowest = swing.lowest.min(pv);
        }
    }

    /// The result, once the last `wanted` swings agree; the first swing still carries the approach
    /// and does not count.
    fn judge(&self, wanted: usize) -> Option<Progress> {
        let wanted = wanted.max(1);
        let counted = self.swings.get(1..)?;
        let last = counted.get(counted.len().checked_sub(wanted)?..)?;
        let sizes = || last.iter().map(Swing::amplitude);
        let (largest, smallest) = (
            sizes().fold(0.0, f64::max),
            sizes().fold(f64::INFINITY, f64::min),
        );
        if largest - smallest > AGREEMENT * largest {
            return None;
        }
        let span = self.high - self.low;
        let on: f64 = last.iter().map(|s| s.on_s).sum();
        let whole: f64 = last.iter().map(|s| s.period_s).sum();
        Some(match ultimate(last, span, self.hysteresis) {
            Some(at) => Progress::Done {
                at,
                mean_output: self.low + span * on / whole,
            },
            None => Progress::Ended(AutotuneState::Failed),
        })
    }
}

#[cfg(test)]
mod tests {
    use super::super::settings::Tuning;
    use super::*;

    const DT: f64 = 0.05;

    /// First order plus dead time: gain 2 degrees per percent, 100 s, dead time in whole steps.
    struct FirstOrder {
        y: f64,
        past: std::collections::VecDeque<f64>,
        kept: f64,
    }

    impl FirstOrder {
        fn new(dead_s: f64) -> Self {
            Self {
                // Away from the setpoint: without hysteresis a relay chatters on it.
                y: -1.0,
                past: std::iter::repeat_n(50.0, (dead_s / DT).round() as usize).collect(),
                kept: (-DT / 100.0).exp(),
            }
        }

        /// `u` is percent about the operating point of 50 %.
        fn step(&mut self, u: f64) {
            self.past.push_back(u);
            let arriving = self.past.pop_front().unwrap();
            self.y = self.kept * self.y + (1.0 - self.kept) * 2.0 * (arriving - 50.0);
        }
    }

    fn settings(hysteresis: f64) -> Settings {
        let mut s = Settings::as_delivered(Tuning::new(10.0, 100.0, 0.0), 0.0);
        s.autotune.hysteresis = hysteresis;
        s
    }

    fn run(s: &Settings, plant: &mut FirstOrder) -> Progress {
        let mut tune = Autotune::begin(s, 0.0, -1.0);
        loop {
            match tune.scan(s, plant.y, DT) {
                Progress::Going { output, .. } => plant.step(output),
                end => return end,
            }
        }
    }

    /// Closed form: a symmetric relay of half swing d on `K exp(-theta s) / (tau s + 1)` swings with
    /// the period `2 tau ln(2 exp(theta / tau) - 1)` and the amplitude `K d (1 - exp(-theta / tau))`.
    #[test]
    fn swings_on_a_first_order_plant_are_those_of_the_closed_form() {
        for dead_s in [10.0_f64, 30.0, 100.0] {
            let s = settings(0.0);
            let Progress::Done { at, mean_output } = run(&s, &mut FirstOrder::new(dead_s)) else {
                panic!("no result with a dead time of {dead_s} s");
            };
            let decay = (dead_s / 100.0).exp();
            let period = 200.0 * (2.0 * decay - 1.0).ln();
            let amplitude = 2.0 * 50.0 * (1.0 - 1.0 / decay);
            let gain = 4.0 * 50.0 / (std::f64::consts::PI * amplitude);
            // Two switches a swing come up to a scan late.
            assert!((at.period_s / period - 1.0).abs() < 4.0 * DT / period);
            assert!((at.gain / gain - 1.0).abs() < 0.015, "{} {gain}", at.gain);
            assert!((mean_output - 50.0).abs() < 0.5);
        }
    }

    #[test]
    fn a_heater_too_weak_to_reach_the_setpoint_times_out() {
        let mut s = settings(0.0);
        s.autotune.output_limit = 40.0;
        let end = run(&s, &mut FirstOrder::new(10.0));
        assert_eq!(end, Progress::Ended(AutotuneState::TimedOut));
    }

    /// The describing function errs by up to a fifth here, and not equally for both.
    #[test]
    fn limited_output_swings_less_and_still_finds_the_loop() {
        let mut s = settings(0.0);
        let full = run(&s, &mut FirstOrder::new(20.0));
        s.autotune.output_limit = 70.0;
        let limited = run(&s, &mut FirstOrder::new(20.0));
        let (Progress::Done { at: a, .. }, Progress::Done { at: b, .. }) = (full, limited) else {
            panic!("no result: {full:?} {limited:?}");
        };
        assert!((a.gain / b.gain - 1.0).abs() < 0.25, "{a:?} {b:?}");
    }
}
