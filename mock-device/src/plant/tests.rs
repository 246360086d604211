//! The integration against closed forms, against itself, and against the first law.

use super::heat::stored;
use super::*;

/// Steps an hour and three quarters with a heater that switches, a door that opens for two
/// minutes and a sagging supply, and gives the temperatures every minute.
fn eventful(step_s: f64) -> Vec<Temperatures> {
    let oven = annealing_oven();
    let (warm, _) = steady::hold(490.0, &oven).unwrap();
    let mut plant = Plant::with_step(oven, warm, 1, step_s);
    let steps_per_minute = (60.0 / step_s).round() as u32;
    (0..105)
        .map(|minute| {
            plant.door_open = (30..32).contains(&minute);
            plant.supply = if minute > 60 { 0.93 } else { 1.0 };
            for step in 0..steps_per_minute {
                // On for the first 16 s of every 30: both are whole steps of either length.
                let second = f64::from(step) * step_s;
                plant.step(if second % 30.0 < 16.0 { 1.0 } else { 0.0 });
            }
            *plant.temperatures()
        })
        .collect()
}

fn largest_difference(a: &Temperatures, b: &Temperatures) -> f64 {
    [
        a.element - b.element,
        a.air - b.air,
        a.load - b.load,
        a.lining - b.lining,
        a.shell - b.shell,
        a.probe - b.probe,
    ]
    .iter()
    .fold(0.0, |largest, d| d.abs().max(largest))
}

#[test]
fn halving_the_step_moves_no_temperature_by_a_millionth_of_a_degree() {
    let (whole, half) = (eventful(STEP_S), eventful(STEP_S / 2.0));
    let worst = whole
        .iter()
        .zip(&half)
        .map(|(a, b)| largest_difference(a, b))
        .fold(0.0, f64::max);
    assert!(worst < 1e-6, "{worst}");
}

/// The same equations, typed a second time and integrated by scipy 1.17.1 (`solve_ivp`, DOP853,
/// relative tolerance 1e-12): 1500 s from cold at full power, 600 s at 40 %, 120 s with the door
/// open, then half power at 93 % of the voltage. Element, air, load, lining and shell at the time
/// given, and the probe 20 s later.
const REFERENCE: [(usize, [f64; 5], f64); 3] = [
    (
        1500,
        [
            636.898_810,
            444.917_627,
            389.109_928,
            398.760_413,
            54.168_716,
        ],
        440.041_459,
    ),
    (
        2100,
        [
            532.048_078,
            436.415_928,
            438.284_902,
            420.413_708,
            65.390_317,
        ],
        436.194_919,
    ),
    (
        2220,
        [
            496.494_288,
            308.733_022,
            420.734_615,
            392.514_478,
            65.945_520,
        ],
        315.560_824,
    ),
];

#[test]
fn an_independent_integrator_gives_the_same_temperatures() {
    let mut plant = Plant::new(annealing_oven(), Temperatures::all(20.0), 1);
    let past: Vec<Temperatures> = (0..=4480_u32)
        .map(|step| {
            let now = *plant.temperatures();
            let second = step / 2;
            plant.door_open = (2100..2220).contains(&second);
            plant.supply = if second < 2220 { 1.0 } else { 0.93 };
            plant.step(match second {
                0..1500 => 1.0,
                1500..2220 => 0.4,
                _ => 0.5,
            });
            now
        })
        .collect();
    for (second, [element, air, load, lining, shell], probe) in REFERENCE {
        let expected = Temperatures {
            element,
            air,
            load,
            lining,
            shell,
            probe: past[second * 2].probe,
        };
        let off = largest_difference(&past[second * 2], &expected);
        assert!(off < 2e-6, "{second} s: {off}");
        let off = past[(second + 20) * 2].probe - probe;
        assert!(off.abs() < 2e-6, "probe after {second} s: {off}");
    }
}

#[test]
fn halving_the_step_cuts_the_error_sixteenfold() {
    let end = |step_s: f64| {
        let oven = annealing_oven();
        let mut cold = Temperatures::all(20.0);
        cold.element = 300.0;
        let mut plant = Plant::with_step(oven, cold, 1, step_s);
        (0..(64.0 / step_s) as u32).for_each(|_| plant.step(1.0));
        plant.temperatures().air
    };
    let exact = end(0.125);
    let ratio = (end(4.0) - exact) / (end(2.0) - exact);
    assert!((12.0..22.0).contains(&ratio), "{ratio}");
}

#[test]
fn heat_put_in_is_heat_stored_and_heat_lost() {
    let oven = annealing_oven();
    let capacity = oven.capacity.clone();
    let mut plant = Plant::new(oven, Temperatures::all(20.0), 1);
    let before = stored(plant.temperatures(), &capacity);
    let (mut put_in, mut lost) = (0.0, 0.0);
    let losses = |plant: &Plant, on: f64| {
        let heater = plant.heater_w(on);
        Flows::at(plant.temperatures(), heater, plant.door_open, &plant.oven).lost()
    };
    for step in 0..20_000_u32 {
        plant.door_open = (9000..9400).contains(&step);
        let on = f64::from(u8::from(step % 50 < 40));
        let earlier = losses(&plant, on);
        put_in += plant.heater_w(on) * STEP_S;
        plant.step(on);
        // Trapezoidal rule: the losses are smooth within a step.
        lost += 0.5 * (earlier + losses(&plant, on)) * STEP_S;
    }
    let gained = stored(plant.temperatures(), &capacity) - before;
    let open = (put_in - lost - gained) / put_in;
    assert!(put_in > 4e7 && lost > 1e7, "{put_in} {lost}");
    assert!(open.abs() < 1e-6, "{open}");
}

/// Closed form: a lump that only loses heat linearly cools as `exp(-t / tau)`, tau = C / G.
#[test]
fn a_lump_with_a_linear_loss_cools_exponentially() {
    let mut oven = annealing_oven();
    oven.coupling.element_air = 0.0;
    oven.coupling.air_load = 0.0;
    oven.coupling.air_lining = 0.0;
    oven.loss.leak = 3.0;
    let tau = oven.capacity.air / oven.loss.leak;
    let mut hot = Temperatures::all(20.0);
    hot.air = 500.0;
    let mut plant = Plant::new(oven, hot, 1);
    for step in 1..=1200_u32 {
        plant.step(0.0);
        let exact = 20.0 + 480.0 * (-f64::from(step) * STEP_S / tau).exp();
        assert!((plant.temperatures().air - exact).abs() < 1e-8);
    }
}

/// Closed form: a lump that radiates to a room at absolute zero obeys `dT/dt = -k T^4`, so
/// `T = (T0^-3 + 3 k t)^(-1/3)`.
#[test]
fn a_lump_that_only_radiates_cools_by_the_inverse_cube_law() {
    let mut oven = annealing_oven();
    oven.room_c = -273.15;
    oven.coupling.air_lining = 0.0;
    oven.coupling.lining_shell = 0.0;
    oven.coupling.element_lining_m2 = 0.0;
    oven.coupling.lining_load_m2 = 0.0;
    let k = heat::STEFAN_BOLTZMANN * oven.door.radiation_m2 / oven.capacity.lining;
    let mut hot = Temperatures::all(-273.15);
    hot.lining = 800.0 - 273.15;
    let mut plant = Plant::new(oven, hot, 1);
    plant.door_open = true;
    for step in 1..=7200_u32 {
        plant.step(0.0);
        let t = f64::from(step) * STEP_S;
        let exact = (800.0_f64.powi(-3) + 3.0 * k * t).powf(-1.0 / 3.0);
        assert!((plant.temperatures().lining + 273.15 - exact).abs() < 1e-8);
    }
}

#[test]
fn an_oven_started_in_its_steady_state_stays_there() {
    let oven = annealing_oven();
    let (held, power) = steady::hold(505.0, &oven).unwrap();
    let on = power / oven.rated_power_w;
    let mut plant = Plant::new(oven, held, 1);
    (0..20_000).for_each(|_| plant.step(on));
    assert!(largest_difference(plant.temperatures(), &held) < 1e-6);
}

#[test]
fn ten_per_cent_less_voltage_is_nineteen_per_cent_less_power() {
    let mut plant = Plant::new(annealing_oven(), Temperatures::all(20.0), 1);
    plant.supply = 0.9;
    assert!((plant.heater_w(1.0) - 0.81 * 6000.0).abs() < 1e-9);
}

#[test]
fn a_welded_contact_heats_and_a_burnt_out_heater_does_not() {
    let mut plant = Plant::new(annealing_oven(), Temperatures::all(20.0), 1);
    plant.contact = Contact::StuckOn;
    assert!((plant.heater_w(0.0) - 6000.0).abs() < 1e-9);
    plant.heater_health = 0.0;
    assert!(plant.heater_w(1.0).abs() < 1e-9);
    plant.heater_health = 1.0;
    plant.contact = Contact::StuckOff;
    assert!(plant.heater_w(1.0).abs() < 1e-9);
}

#[test]
fn an_open_door_makes_the_same_power_hold_less() {
    let oven = annealing_oven();
    let (held, power) = steady::hold(500.0, &oven).unwrap();
    let on = power / oven.rated_power_w;
    let mut plant = Plant::new(oven, held, 1);
    plant.door_open = true;
    (0..120).for_each(|_| plant.step(on));
    assert!(plant.temperatures().probe < 490.0);
}
