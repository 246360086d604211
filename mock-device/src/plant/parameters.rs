//! What an oven is made of, in plain physical units.

/// The masses, couplings and losses of an oven with one heating element bank.
#[derive(Clone, Debug, PartialEq)]
pub struct Parameters {
    /// Electrical power at nominal supply voltage, W.
    pub rated_power_w: f64,
    /// Temperature of the room, degC.
    pub room_c: f64,
    /// Heat capacities of the five masses.
    pub capacity: Capacities,
    /// How heat moves between them.
    pub coupling: Couplings,
    /// How heat leaves the oven.
    pub loss: Losses,
    /// What an open door adds to that.
    pub door: Door,
    /// The thermocouple and its input.
    pub probe: Probe,
}

/// Heat capacities, J/K.
#[derive(Clone, Debug, PartialEq)]
pub struct Capacities {
    /// Heating element with its support.
    pub element: f64,
    /// Air in the chamber, with fan and baffle.
    pub air: f64,
    /// What lies in the oven.
    pub load: f64,
    /// Inner half of the lining.
    pub lining: f64,
    /// Outer half of the lining with the sheet-metal shell.
    pub shell: f64,
}

/// Heat exchange inside the oven. Conductances in W/K; radiation by its exchange area in m2:
/// the area times emissivity and view factor, so that `q = sigma * area * (T1^4 - T2^4)`.
#[derive(Clone, Debug, PartialEq)]
pub struct Couplings {
    /// Convection, element to air, W/K.
    pub element_air: f64,
    /// Convection, air to load, W/K.
    pub air_load: f64,
    /// Convection, air to lining, W/K.
    pub air_lining: f64,
    /// Radiation, element to load, m2.
    pub element_load_m2: f64,
    /// Radiation, element to lining, m2.
    pub element_lining_m2: f64,
    /// Radiation, lining to load, m2.
    pub lining_load_m2: f64,
    /// Conduction through the lining, W/K.
    pub lining_shell: f64,
}

/// Ways out of the closed oven.
#[derive(Clone, Debug, PartialEq)]
pub struct Losses {
    /// Air that leaks past seals and through the vent, W/K between chamber air and room.
    pub leak: f64,
    /// Outside surface, m2.
    pub shell_m2: f64,
    /// Height of the outside walls, m; natural convection depends on it.
    pub shell_height_m: f64,
    /// Emissivity of the outside surface.
    pub shell_emissivity: f64,
}

/// What an open door adds.
#[derive(Clone, Debug, PartialEq)]
pub struct Door {
    /// Air exchange with the room, W/K.
    pub exchange: f64,
    /// Radiation out of the opening, lining to room, exchange area in m2.
    pub radiation_m2: f64,
}

/// The thermocouple, from the air it sits in to the number the controller works with.
#[derive(Clone, Debug, PartialEq)]
pub struct Probe {
    /// Time the stirred air needs from the element to the probe, s.
    pub transport_s: f64,
    /// Time constant of the sheath, s.
    pub lag_s: f64,
    /// Standard deviation of the input's noise, degC.
    pub noise_c: f64,
    /// Smallest difference the input resolves, degC; 0 for no quantisation.
    pub resolution_c: f64,
}

/// The annealing oven of a small glass workshop: 6 kW, 125 litres, fibre lined, a slow fan, a
/// load of glass on a steel shelf, works at 480 to 520 degC.
///
/// Masses and conductances follow from size and handbook property values (from memory): fibre
/// lining of 75 mm, 128 kg/m3, 1.05 kJ/(kg K) and 0.12 W/(m K) on 2 m2; 5 kg of glass at
/// 1.0 kJ/(kg K) with a light steel shelf; stirred air at 10 W/(m2 K).
pub fn annealing_oven() -> Parameters {
    Parameters {
        rated_power_w: 6000.0,
        room_c: 20.0,
        capacity: Capacities {
            element: 3000.0,
            air: 900.0,
            load: 5500.0,
            lining: 8000.0,
            shell: 14_000.0,
        },
        coupling: Couplings {
            element_air: 12.0,
            air_load: 9.0,
            air_lining: 15.0,
            element_load_m2: 0.03,
            element_lining_m2: 0.09,
            lining_load_m2: 0.10,
            lining_shell: 3.6,
        },
        loss: Losses {
            leak: 2.2,
            shell_m2: 2.6,
            shell_height_m: 0.7,
            shell_emissivity: 0.8,
        },
        door: Door {
            exchange: 14.0,
            radiation_m2: 0.05,
        },
        probe: Probe {
            transport_s: 20.0,
            lag_s: 25.0,
            noise_c: 0.08,
            resolution_c: 0.1,
        },
    }
}
