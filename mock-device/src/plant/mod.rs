//! The oven: a heat balance of five masses, its door, its supply, its heater and its probe.
//!
//! Heat goes from the element by convection to the air and by radiation to load and lining,
//! through the lining to the shell, and from there to the room; chamber air leaks. What the
//! controller sees is the air some seconds ago, through the lag of a sheathed thermocouple.
//! Integrated by the classical Runge-Kutta method of fourth order at a fixed step.

mod delay;
pub mod heat;
mod input;
pub mod parameters;
pub mod steady;

use delay::{Delay, Moment, Seen};
use heat::{Flows, Temperatures};
use input::Input;
use parameters::Parameters;

pub use parameters::annealing_oven;

/// Length of one integration step, s. The fastest mass, the chamber air, has a time constant of
/// 12 s; halving the step moves no temperature by more than a millionth of a degree.
pub const STEP_S: f64 = 0.5;

/// State of the contact that switches the heater.
#[derive(Clone, Copy, Debug, Default, PartialEq, Eq)]
pub enum Contact {
    /// It follows the controller.
    #[default]
    Sound,
    /// Welded: the heater is on whatever the controller wants.
    StuckOn,
    /// It never closes.
    StuckOff,
}

/// An oven at a moment.
#[derive(Clone, Debug)]
pub struct Plant {
    oven: Parameters,
    step_s: f64,
    now: Temperatures,
    delay: Delay,
    input: Input,
    /// Whether the door stands open.
    pub door_open: bool,
    /// Supply voltage over nominal; power goes with its square.
    pub supply: f64,
    /// Share of the element bank that still conducts: 1 sound, 0 burnt out.
    pub heater_health: f64,
    /// The contact that switches the heater.
    pub contact: Contact,
}

impl Plant {
    /// An oven in which everything stands at these temperatures and has done so for a while.
    pub fn new(oven: Parameters, now: Temperatures, seed: u64) -> Self {
        Self::with_step(oven, now, seed, STEP_S)
    }

    /// The same with another integration step, for checking that the step does not matter.
    pub fn with_step(oven: Parameters, now: Temperatures, seed: u64, step_s: f64) -> Self {
        Self {
            delay: Delay::new(oven.probe.transport_s, step_s, now.air),
            oven,
            step_s,
            now,
            input: Input::new(seed),
            door_open: false,
            supply: 1.0,
            heater_health: 1.0,
            contact: Contact::Sound,
        }
    }

    /// What it is made of.
    pub fn parameters(&self) -> &Parameters {
        &self.oven
    }

    /// True temperatures of its masses now.
    pub fn temperatures(&self) -> &Temperatures {
        &self.now
    }

    /// What the controller's input reads now; `None` from a broken thermocouple.
    pub fn read(&mut self) -> Option<f64> {
        self.input.read(self.now.probe, &self.oven.probe)
    }

    /// Breaks or mends the thermocouple.
    pub fn set_sensor_broken(&mut self, broken: bool) {
        self.input.set_broken(broken);
    }

    /// Whether the thermocouple is broken.
    pub fn is_sensor_broken(&self) -> bool {
        self.input.is_broken()
    }

    /// Electrical power, W, while the controller has its output on for the share `on` (0 to 1).
    pub fn heater_w(&self, on: f64) -> f64 {
        let closed = match self.contact {
            Contact::Sound => on,
            Contact::StuckOn => 1.0,
            Contact::StuckOff => 0.0,
        };
        closed * self.heater_health * self.oven.rated_power_w * self.supply * self.supply
    }

    /// One step, with the output on for the share `on` of it.
    pub fn step(&mut self, on: f64) {
        let heater_w = self.heater_w(on);
        let (h, start) = (self.step_s, self.now);
        let rates = |t: &Temperatures, seen_c: f64| {
            let flows = Flows::at(t, heater_w, self.door_open, &self.oven);
            let mut rates = flows.rates(&self.oven.capacity);
            rates.probe = (seen_c - t.probe) / self.oven.probe.lag_s;
            rates
        };
        let Some(seen) = self.delay.arriving() else {
            return;
        };
        let k1 = rates(&start, seen.start);
        let k2 = rates(&start.along(&k1, 0.5 * h), seen.middle);
        let k3 = rates(&start.along(&k2, 0.5 * h), seen.middle);
        let k4 = rates(&start.along(&k3, h), seen.end);
        let end = start
            .along(&k1, h / 6.0)
            .along(&k2, h / 3.0)
            .along(&k3, h / 3.0)
            .along(&k4, h / 6.0);
        let air = |t: &Temperatures, rate: f64| Moment { value: t.air, rate };
        let end_rate = rates(&end, seen.end).air;
        self.now = end;
        self.delay
            .end_step(Seen::between(air(&start, k1.air), air(&end, end_rate), h));
    }
}

#[cfg(test)]
mod tests;
