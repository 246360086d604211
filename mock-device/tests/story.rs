//! The story the demo tells, on the oven alone: a step with the tuning that was left over, the
//! controller's own autotune, the same step again. It is better because of what the controller
//! found out, so this checks the direction with a margin, for several seeds.

#![expect(clippy::unwrap_used, reason = "a test fails by panicking")]

use mock_device::controller::AutotuneState;
use mock_device::oven::SCAN_S;
use mock_device::plant::{Plant, annealing_oven, steady};
use mock_device::{LEFT_OVER_TUNING, Oven, Tuning};

/// Degrees about the setpoint that count as settled.
const BAND: f64 = 2.0;

#[derive(Debug)]
struct Response {
    overshoot: f64,
    settling_s: f64,
    iae: f64,
    /// Largest deviations of each swing after the first arrival, alternating in sign.
    swings: Vec<f64>,
    /// Share of the time with the output at a limit.
    saturated: f64,
}

fn run(oven: &mut Oven, seconds: f64) {
    (0..(seconds / SCAN_S) as u32).for_each(|_| oven.scan());
}

/// An upward step, judged by the probe's true temperature for an hour.
fn step_up(oven: &mut Oven, to: f64) -> Response {
    oven.controller.set_setpoint(to).unwrap();
    let mut response = Response {
        overshoot: 0.0,
        settling_s: 0.0,
        iae: 0.0,
        swings: Vec::new(),
        saturated: 0.0,
    };
    let scans = 7200_u32;
    for scan in 1..=scans {
        run(oven, SCAN_S);
        let above = oven.plant.temperatures().probe - to;
        response.iae += above.abs() * SCAN_S;
        response.overshoot = response.overshoot.max(above);
        if above.abs() > BAND {
            response.settling_s = f64::from(scan) * SCAN_S;
        }
        match response.swings.last_mut() {
            None if above < 0.0 => {}
            Some(swing) if swing.signum() == above.signum() => {
                *swing = if above.abs() > swing.abs() {
                    above
                } else {
                    *swing
                };
            }
            _ => response.swings.push(above),
        }
        let output = oven.controller.output();
        response.saturated += f64::from(u8::from(output <= 0.0 || output >= 100.0));
    }
    response.saturated /= f64::from(scans);
    response
}

/// Minutes the autotune took; it must end by itself.
fn autotune(oven: &mut Oven) -> f64 {
    oven.controller.start_autotune().unwrap();
    let mut minutes = 0.0;
    while oven.controller.autotune() == AutotuneState::Active {
        run(oven, 6.0);
        minutes += 0.1;
    }
    assert_eq!(oven.controller.autotune(), AutotuneState::Tuned);
    minutes
}

struct Story {
    before: Response,
    after: Response,
    tuned_in_min: f64,
    found: Tuning,
}

fn tell(seed: u64, autotune_limit: f64) -> Story {
    let mut oven = Oven::settled_at(490.0, LEFT_OVER_TUNING, seed);
    oven.controller.set_autotune_limit(autotune_limit).unwrap();
    let before = step_up(&mut oven, 510.0);
    let tuned_in_min = autotune(&mut oven);
    oven.controller.set_setpoint(490.0).unwrap();
    run(&mut oven, 5400.0);
    let after = step_up(&mut oven, 510.0);
    Story {
        before,
        after,
        tuned_in_min,
        found: oven.controller.settings().tuning,
    }
}

#[test]
fn the_controllers_own_autotune_makes_the_same_step_clearly_better() {
    for (seed, limit) in [(1, 100.0), (2, 100.0), (3, 70.0), (42, 100.0), (99, 60.0)] {
        let story = tell(seed, limit);
        let (before, after) = (&story.before, &story.after);
        println!(
            "seed {seed}, autotune at up to {limit} %: {:.0} min, {:?}\n  before {before:.1?}\n  after  {after:.1?}",
            story.tuned_in_min, story.found
        );
        assert!(story.tuned_in_min < 90.0);
        assert!(after.overshoot < 0.5 * before.overshoot);
        assert!(after.settling_s < 0.6 * before.settling_s);
        assert!(after.iae < 0.75 * before.iae);
    }
}

#[test]
fn the_left_over_tuning_overshoots_and_rings_but_dies_down() {
    let mut oven = Oven::settled_at(490.0, LEFT_OVER_TUNING, 1);
    let before = step_up(&mut oven, 510.0);
    assert!(before.overshoot > 6.0);
    assert!(before.swings.len() >= 6, "{:?}", before.swings);
    // Every swing of the first six is smaller than the last but one, and at least a third of it.
    for pair in before.swings[..6].windows(3) {
        let ratio = pair[2] / pair[0];
        assert!((0.33..0.95).contains(&ratio), "{:?}", before.swings);
    }
    assert!(before.settling_s < 3000.0);
}

#[test]
fn the_step_is_governed_by_the_tuning_and_not_by_the_heaters_limits() {
    let mut oven = Oven::settled_at(490.0, LEFT_OVER_TUNING, 1);
    assert!(step_up(&mut oven, 510.0).saturated < 0.05);
}

/// Open-loop step of 5 % from the steady state, read as Ziegler and Nichols 1942 read one: the
/// steepest tangent gives the apparent dead time, and 63.2 % of the way the dominant time constant.
#[test]
fn the_annealing_ovens_time_constant_and_dead_time_are_those_of_such_an_oven() {
    let parameters = annealing_oven();
    let (held, power) = steady::hold(500.0, &parameters).unwrap();
    let on = power / parameters.rated_power_w + 0.05;
    let mut plant = Plant::new(parameters, held, 1);
    let rise: Vec<f64> = (0..12 * 3600)
        .map(|_| {
            plant.step(on);
            plant.temperatures().probe - 500.0
        })
        .collect();
    let (steepest, slope) = rise
        .windows(2)
        .map(|pair| (pair[1] - pair[0]) / SCAN_S)
        .enumerate()
        .max_by(|a, b| a.1.total_cmp(&b.1))
        .unwrap();
    let dead_s = (steepest as f64 + 1.0) * SCAN_S - rise[steepest] / slope;
    let end = rise[rise.len() - 1];
    let tau_s = rise.iter().position(|&c| c > 0.632 * end).unwrap() as f64 * SCAN_S;
    println!(
        "dead time {dead_s:.0} s, time constant {tau_s:.0} s, {:.1} degC/%",
        end / 5.0
    );
    assert!((30.0..90.0).contains(&dead_s), "{dead_s}");
    assert!((1200.0..3600.0).contains(&tau_s), "{tau_s}");
}
