//! An oven, its controller and a person, and a recorder that looks at them now and then.

use mock_device::controller::{AutotuneState, Settings, Tuning};
use mock_device::oven::{Oven, SCAN_S};
use mock_device::plant::{annealing_oven, steady};

use super::dice::Dice;
use super::truth::{Form, Happened, Row, Told};

/// So many times what a calm loop swings, the band is at least.
const SWINGS_IN_BAND: f64 = 2.5;

/// How the recorder looks, and at what.
#[derive(Clone, Copy, Debug)]
pub(super) struct Habit {
    pub(super) form: Form,
    pub(super) period_s: f64,
    /// Share of the period by which a look comes early or late.
    pub(super) jitter: f64,
    /// Smallest difference of the sensor, and of the setpoint, degrees.
    pub(super) resolution: f64,
    /// Standard deviation of the sensor's noise, degrees.
    pub(super) noise: f64,
    /// The oven's size: all its times are this share of the annealing oven's.
    pub(super) size: f64,
    pub(super) band: f64,
}

/// The oven at a moment of a recording.
pub(super) struct Workshop {
    pub(super) habit: Habit,
    pub(super) dice: Dice,
    pub(super) oven: Oven,
    pub(super) now_s: f64,
    next_s: f64,
    pub(super) rows: Vec<Row>,
    /// The probe's true temperature less the setpoint, beside each row.
    pub(super) deviations: Vec<f64>,
    pub(super) told: Vec<Told>,
    pub(super) truth: Vec<Happened>,
    /// From and to: no gap may hide what happens there.
    pub(super) protected: Vec<(f64, f64)>,
}

impl Workshop {
    /// Settled at this setpoint in automatic.
    pub(super) fn settled_at(setpoint: f64, tuning: Tuning, habit: Habit, mut dice: Dice) -> Self {
        let mut parts = annealing_oven();
        let size = habit.size;
        let c = &mut parts.capacity;
        for mass in [
            &mut c.element,
            &mut c.air,
            &mut c.load,
            &mut c.lining,
            &mut c.shell,
        ] {
            *mass *= size;
        }
        parts.probe.transport_s *= size;
        parts.probe.lag_s *= size;
        parts.probe.noise_c = habit.noise;
        parts.probe.resolution_c = habit.resolution;
        let (warm, power) = steady::hold(setpoint, &parts).unwrap();
        let output = 100.0 * power / parts.rated_power_w;
        let mut settings = Settings::as_delivered(tuning, setpoint);
        settings.cycle_s = (settings.cycle_s * size).max(1.0).round();
        let seed = dice.between(0.0, 1e9) as u64;
        let mut oven = Oven::with(parts, warm, settings, output, seed);
        (0..(3600.0 * size) as u32).for_each(|_| oven.scan());
        // Nobody asks of a loop that swings to stay in a band narrower than its swings.
        let mut swing: f64 = 0.0;
        for _ in 0..(8000.0 * size) as u32 {
            oven.scan();
            let off = oven.plant.temperatures().probe - setpoint;
            swing = swing.max(off.abs());
        }
        let band = habit.band.max((SWINGS_IN_BAND * swing).ceil());
        Self {
            habit: Habit { band, ..habit },
            dice,
            oven,
            now_s: 0.0,
            next_s: 0.0,
            rows: Vec::new(),
            deviations: Vec::new(),
            told: Vec::new(),
            truth: Vec::new(),
            protected: Vec::new(),
        }
    }

    /// Time goes on.
    pub(super) fn wait(&mut self, seconds: f64) {
        let until = self.now_s + seconds;
        self.wait_while(until, |_| true);
    }

    /// Time goes on until then at the latest, as long as the oven is so.
    pub(super) fn wait_while(&mut self, until: f64, goes_on: impl Fn(&Oven) -> bool) {
        while self.now_s < until && goes_on(&self.oven) {
            self.oven.scan();
            self.now_s += SCAN_S;
            if self.now_s >= self.next_s {
                self.look();
            }
        }
    }

    fn look(&mut self) {
        let controller = &self.oven.controller;
        let quantum = self.habit.resolution.max(0.1);
        let pv = controller.pv();
        let setpoint = (controller.working_setpoint() / quantum).round() * quantum;
        self.rows.push(Row {
            looked_s: self.now_s,
            time_s: thousandths(self.now_s),
            pv: pv.map(thousandths),
            setpoint: Some(thousandths(setpoint)),
            output: (10.0 * controller.output()).round() / 10.0,
            tuning: controller.autotune() == AutotuneState::Active,
        });
        let deviation = self.oven.plant.temperatures().probe - controller.working_setpoint();
        self.deviations.push(deviation);
        let late = self.dice.between(-1.0, 1.0) * self.habit.jitter;
        let due = self.habit.period_s * (1.0 + late);
        self.next_s = (self.next_s + due).max(self.now_s + 0.5 * SCAN_S);
    }

    /// Where the last look saw the setpoint.
    pub(super) fn seen_setpoint(&self) -> f64 {
        self.rows.last().and_then(|row| row.setpoint).unwrap()
    }

    pub(super) fn tell(&mut self, what: &'static str, text: String) {
        self.told.push(Told {
            time_s: thousandths(self.now_s),
            what,
            text,
        });
    }
}

/// As a file holds it.
pub(super) fn thousandths(value: f64) -> f64 {
    (1000.0 * value).round() / 1000.0
}
