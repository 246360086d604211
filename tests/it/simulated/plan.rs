//! A random working day at the oven.

use mock_device::controller::Tuning;

use super::dice::Dice;
use super::flaws::spoil;
use super::truth::{Form, Simulated};
use super::workshop::{Habit, Workshop};

/// The recording of this seed.
pub(super) fn recording(seed: u64) -> Simulated {
    let mut dice = Dice::of_seed(seed);
    let on_off = seed % 25 == 7;
    let habit = habit(&mut dice, on_off);
    let setpoint = 10.0 * dice.between(20.0, 44.0).round();
    let size = habit.size;
    // Sluggish, lively, and ringing.
    let (band, integral, derivative) = dice.one_of(&[
        (45.0, 600.0, 30.0),
        (45.0, 600.0, 30.0),
        (25.0, 300.0, 30.0),
        (28.0, 140.0, 0.0),
    ]);
    let (integral, derivative) = (integral * size, derivative * size);
    let sound = Tuning::new(band, integral.round(), f64::round(derivative));
    let tuning = if on_off {
        Tuning::new(0.1, 0.0, 0.0)
    } else {
        sound
    };
    let mut workshop = Workshop::settled_at(setpoint, tuning, habit, dice);
    workshop.wait(420.0);
    if on_off {
        let to = setpoint + 40.0;
        workshop.step_to(to);
        workshop.wait(9000.0 * size);
    } else {
        let events = workshop.dice.between(2.0, 5.0) as u32;
        (0..events).for_each(|_| something(&mut workshop, sound));
        workshop.wait(200.0);
    }
    let flawed = spoil(&mut workshop);
    Simulated {
        name: format!("{seed:03}"),
        form: habit.form,
        band: (!on_off).then_some(workshop.habit.band),
        tuning: [tuning.band, tuning.integral_s, tuning.derivative_s],
        rows: flawed,
        told: workshop.told,
        truth: workshop.truth,
    }
}

fn habit(dice: &mut Dice, on_off: bool) -> Habit {
    let form = dice.one_of(&[Form::Csv, Form::Recording]);
    let resolution = dice.one_of(&[0.0, 0.1, 0.1, 0.1, 1.0]);
    let noise = dice.one_of(&[0.0, 0.05, 0.1, 0.3]);
    let size = dice.between(0.1, 0.5);
    Habit {
        form,
        period_s: dice.one_of(&[0.5, 1.0, 1.0, 2.0, 5.0]),
        jitter: dice.one_of(&[0.0, 0.0, 0.4]),
        resolution,
        noise,
        size: if on_off { 0.4 } else { size },
        band: if resolution > 0.5 {
            4.0
        } else {
            dice.one_of(&[2.0, 3.0])
        },
    }
}

fn something(workshop: &mut Workshop, sound: Tuning) {
    let now = workshop.seen_setpoint();
    let by = 5.0 * workshop.dice.between(2.0, 9.0).round();
    let to = if now > 320.0 { now - by } else { now + by };
    match workshop.dice.between(0.0, 13.0) as u32 {
        0..=1 => workshop.step_to(to),
        2 => {
            let soon = workshop.dice.between(60.0, 150.0);
            workshop.protect_next(soon + 20.0);
            workshop.step_to(to);
            workshop.wait(soon);
            workshop.step_to(to + (0.5 * by).round());
        }
        3 => {
            workshop.protect_next(60.0);
            workshop.key(to);
        }
        4..=5 => {
            // Ten minutes to an hour of the annealing oven.
            let minutes = workshop.habit.size * workshop.dice.between(20.0, 60.0) + 1.5;
            workshop.ramp_to(to, by / minutes);
        }
        6..=7 => {
            let aborted = workshop.dice.chance(0.3).then_some(3);
            workshop.tune(aborted);
        }
        8 if workshop.tells() => workshop.tune_with_a_step_inside(),
        9 => {
            let by = workshop.dice.one_of(&[-6.0, 6.0, 9.0]);
            workshop.by_hand(by);
        }
        10 if workshop.tells() => {
            workshop.retune(Tuning::new(60.0, sound.integral_s, sound.derivative_s));
        }
        11 => {
            workshop.nudge();
            workshop.mark();
        }
        _ => {
            let seconds = workshop.dice.between(30.0, 200.0) * workshop.habit.size + 10.0;
            workshop.door(seconds);
        }
    }
    workshop.rest();
    workshop.wait(60.0);
}
