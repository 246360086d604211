//! The heat balance: which temperatures drive which heat flows, and what those do to the masses.

use super::parameters::{Capacities, Parameters};

/// Stefan-Boltzmann constant, W/(m2 K4) (CODATA 2018, exact to the digits given).
pub const STEFAN_BOLTZMANN: f64 = 5.670_374_419e-8;

/// Zero of the Celsius scale, K.
const CELSIUS_ZERO_K: f64 = 273.15;

/// Temperatures of the masses, degC; with [`Temperatures::along`] also a step through them.
#[derive(Clone, Copy, Debug, PartialEq)]
#[expect(missing_docs, reason = "the masses are described at their capacities")]
pub struct Temperatures {
    pub element: f64,
    pub air: f64,
    pub load: f64,
    pub lining: f64,
    pub shell: f64,
    /// The probe's tip inside its sheath.
    pub probe: f64,
}

impl Temperatures {
    /// Everything at one temperature.
    pub fn all(celsius: f64) -> Self {
        Self {
            element: celsius,
            air: celsius,
            load: celsius,
            lining: celsius,
            shell: celsius,
            probe: celsius,
        }
    }

    /// These temperatures after `seconds` at a constant `rate` (K/s for each mass).
    #[must_use]
    pub fn along(&self, rate: &Self, seconds: f64) -> Self {
        Self {
            element: self.element + seconds * rate.element,
            air: self.air + seconds * rate.air,
            load: self.load + seconds * rate.load,
            lining: self.lining + seconds * rate.lining,
            shell: self.shell + seconds * rate.shell,
            probe: self.probe + seconds * rate.probe,
        }
    }
}

/// Heat flows, W, positive in the direction of the name.
#[derive(Clone, Copy, Debug, PartialEq)]
#[expect(missing_docs, reason = "each name says from where to where")]
pub struct Flows {
    pub heater_to_element: f64,
    pub element_to_air: f64,
    pub element_to_load: f64,
    pub element_to_lining: f64,
    pub air_to_load: f64,
    pub air_to_lining: f64,
    pub lining_to_load: f64,
    pub lining_to_shell: f64,
    pub air_to_room: f64,
    pub lining_to_room: f64,
    pub shell_to_room: f64,
}

impl Flows {
    /// The flows at `t`, with `heater_w` going into the element.
    pub fn at(t: &Temperatures, heater_w: f64, door_open: bool, oven: &Parameters) -> Self {
        let (c, door) = (&oven.coupling, &oven.door);
        let room = oven.room_c;
        let (exchange, opening_m2) = if door_open {
            (door.exchange, door.radiation_m2)
        } else {
            (0.0, 0.0)
        };
        Self {
            heater_to_element: heater_w,
            element_to_air: c.element_air * (t.element - t.air),
            element_to_load: radiation(c.element_load_m2, t.element, t.load),
            element_to_lining: radiation(c.element_lining_m2, t.element, t.lining),
            air_to_load: c.air_load * (t.air - t.load),
            air_to_lining: c.air_lining * (t.air - t.lining),
            lining_to_load: radiation(c.lining_load_m2, t.lining, t.load),
            lining_to_shell: c.lining_shell * (t.lining - t.shell),
            air_to_room: (oven.loss.leak + exchange) * (t.air - room),
            lining_to_room: radiation(opening_m2, t.lining, room),
            shell_to_room: shell_loss(t.shell, oven),
        }
    }

    /// Heat that leaves the oven, W.
    pub fn lost(&self) -> f64 {
        self.air_to_room + self.lining_to_room + self.shell_to_room
    }

    /// What each mass gains, W: element, air, load, lining, shell.
    pub fn gains(&self) -> [f64; 5] {
        [
            self.heater_to_element
                - self.element_to_air
                - self.element_to_load
                - self.element_to_lining,
            self.element_to_air - self.air_to_load - self.air_to_lining - self.air_to_room,
            self.element_to_load + self.air_to_load + self.lining_to_load,
            self.element_to_lining + self.air_to_lining
                - self.lining_to_load
                - self.lining_to_shell
                - self.lining_to_room,
            self.lining_to_shell - self.shell_to_room,
        ]
    }

    /// Rates of change, K/s; the probe's is left at zero, because it follows air of the past.
    pub fn rates(&self, capacity: &Capacities) -> Temperatures {
        let [element, air, load, lining, shell] = self.gains();
        Temperatures {
            element: element / capacity.element,
            air: air / capacity.air,
            load: load / capacity.load,
            lining: lining / capacity.lining,
            shell: shell / capacity.shell,
            probe: 0.0,
        }
    }
}

/// Heat stored in the masses relative to 0 degC, J.
pub fn stored(t: &Temperatures, capacity: &Capacities) -> f64 {
    capacity.element * t.element
        + capacity.air * t.air
        + capacity.load * t.load
        + capacity.lining * t.lining
        + capacity.shell * t.shell
}

/// Net radiation between two grey surfaces: `sigma * area * (T1^4 - T2^4)`.
fn radiation(area_m2: f64, from_c: f64, to_c: f64) -> f64 {
    let fourth_power = |celsius: f64| {
        let squared = (celsius + CELSIUS_ZERO_K) * (celsius + CELSIUS_ZERO_K);
        squared * squared
    };
    STEFAN_BOLTZMANN * area_m2 * (fourth_power(from_c) - fourth_power(to_c))
}

/// Natural convection and radiation from the outside walls.
///
/// Laminar free convection of air at a vertical wall, `h = 1.42 (dT / height)^(1/4)` W/(m2 K)
/// (Holman, Heat Transfer, simplified relations for air at atmospheric pressure; from memory).
/// The fourth root is two square roots: those are exact to the last bit on every machine, a
/// general power is not, and one seed must give one oven everywhere.
fn shell_loss(shell_c: f64, oven: &Parameters) -> f64 {
    let loss = &oven.loss;
    let above_room = shell_c - oven.room_c;
    let per_m2_k = 1.42 * (above_room.abs() / loss.shell_height_m).sqrt().sqrt();
    loss.shell_m2 * per_m2_k * above_room
        + radiation(loss.shell_m2 * loss.shell_emissivity, shell_c, oven.room_c)
}

#[cfg(test)]
mod tests {
    use super::super::parameters::annealing_oven;
    use super::*;

    /// Closed form: a black square metre at 100 degC facing 0 K gives sigma * 373.15^4 = 1099.374 W.
    #[test]
    fn a_black_square_metre_radiates_as_the_law_says() {
        let emitted = radiation(1.0, 100.0, -CELSIUS_ZERO_K);
        assert!((emitted - 1099.374).abs() < 0.001, "{emitted}");
    }

    #[test]
    fn inner_flows_cancel_so_that_only_heater_and_losses_change_the_whole() {
        let oven = annealing_oven();
        let t = Temperatures {
            element: 640.0,
            air: 505.0,
            load: 480.0,
            lining: 495.0,
            shell: 70.0,
            probe: 500.0,
        };
        for door_open in [false, true] {
            let flows = Flows::at(&t, 2500.0, door_open, &oven);
            let whole: f64 = flows.gains().iter().sum();
            assert!((whole - (2500.0 - flows.lost())).abs() < 1e-9);
        }
    }

    #[test]
    fn nothing_flows_when_everything_is_at_room_temperature() {
        let oven = annealing_oven();
        let flows = Flows::at(&Temperatures::all(oven.room_c), 0.0, true, &oven);
        assert!(flows.gains().iter().all(|gain| gain.abs() < 1e-9));
    }
}
