//! An oven with its controller, advanced scan by scan.

use crate::controller::{Controller, Settings, Tuning};
use crate::plant::heat::Temperatures;
use crate::plant::parameters::Parameters;
use crate::plant::{Plant, STEP_S, annealing_oven, steady};

/// The controller looks at its sensor, and the heat balance is advanced, this often, s.
pub const SCAN_S: f64 = STEP_S;

/// What a technician finds on the annealing oven: the tuning of another, smaller oven that the
/// controller came from. On this oven a setpoint step overshoots and rings, and dies down slowly.
pub const LEFT_OVER_TUNING: Tuning = Tuning::new(28.0, 140.0, 0.0);

/// Scans for which a settled oven runs before anybody sees it, so that contact, noise and law are
/// in their ordinary rhythm.
const SETTLING_SCANS: u32 = 3600;

/// An oven and the controller on it.
#[derive(Clone, Debug)]
pub struct Oven {
    /// The oven itself; its door, supply and faults may be changed at any time.
    pub plant: Plant,
    /// The controller; so may its settings.
    pub controller: Controller,
}

impl Oven {
    /// The annealing oven, holding `setpoint` (degC) in automatic with this tuning for half an hour
    /// already. `seed` decides its sensor's noise. Above what the heater can hold, it is at the
    /// heater's limit; below room temperature, at room temperature.
    pub fn settled_at(setpoint: f64, tuning: Tuning, seed: u64) -> Self {
        let parameters = annealing_oven();
        let highest = parameters.rated_power_w;
        let (warm, power) = steady::hold(setpoint.max(parameters.room_c), &parameters)
            .unwrap_or((Temperatures::all(parameters.room_c), 0.0));
        let output = 100.0 * (power / highest).clamp(0.0, 1.0);
        let mut oven = Self::with(
            parameters,
            warm,
            Settings::as_delivered(tuning, setpoint),
            output,
            seed,
        );
        (0..SETTLING_SCANS).for_each(|_| oven.scan());
        oven
    }

    /// The annealing oven at room temperature, in automatic with the setpoint at room temperature.
    pub fn cold(tuning: Tuning, seed: u64) -> Self {
        let parameters = annealing_oven();
        let room = parameters.room_c;
        let settings = Settings::as_delivered(tuning, room);
        Self::with(parameters, Temperatures::all(room), settings, 0.0, seed)
    }

    /// Any oven in any state, its controller holding `output` percent.
    pub fn with(
        parameters: Parameters,
        now: Temperatures,
        settings: Settings,
        output: f64,
        seed: u64,
    ) -> Self {
        Self {
            controller: Controller::new(settings, now.probe, output),
            plant: Plant::new(parameters, now, seed),
        }
    }

    /// One scan of [`SCAN_S`]: the controller reads its sensor and decides, the oven follows.
    pub fn scan(&mut self) {
        let reading = self.plant.read();
        let closed = self.controller.scan(reading, SCAN_S);
        self.plant.step(closed);
    }
}
