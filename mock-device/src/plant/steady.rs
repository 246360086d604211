//! The steady state: the power that holds the air at a temperature for good.

use super::heat::{Flows, Temperatures};
use super::parameters::Parameters;

/// Unknowns of the steady state: element, load, lining, shell (degC) and heater power (W).
type Unknowns = [f64; 5];

/// Heat imbalance that counts as none, W.
const BALANCED_W: f64 = 1e-7;

/// Temperatures and heater power (W) at which nothing changes any more, door closed, with the
/// chamber air at `air_c`. `None` where the balance cannot be found (not a finite temperature).
///
/// Newton's method on the five heat balances; they are smooth and monotone, so it takes a few
/// rounds from a rough start.
pub fn hold(air_c: f64, oven: &Parameters) -> Option<(Temperatures, f64)> {
    let mut x: Unknowns = [air_c + 100.0, air_c, air_c, oven.room_c + 40.0, 1000.0];
    for _ in 0..50 {
        let gains = imbalance(&x, air_c, oven);
        if gains.iter().all(|gain| gain.abs() < BALANCED_W) {
            return Some((temperatures(&x, air_c), x[4]));
        }
        let step = solve(slopes(&x, air_c, oven), gains)?;
        for (unknown, change) in x.iter_mut().zip(step) {
            *unknown -= change;
        }
    }
    None
}

fn temperatures(x: &Unknowns, air_c: f64) -> Temperatures {
    Temperatures {
        element: x[0],
        air: air_c,
        load: x[1],
        lining: x[2],
        shell: x[3],
        probe: air_c,
    }
}

fn imbalance(x: &Unknowns, air_c: f64, oven: &Parameters) -> [f64; 5] {
    Flows::at(&temperatures(x, air_c), x[4], false, oven).gains()
}

/// Change of every balance (row) with every unknown (column), by central differences.
fn slopes(x: &Unknowns, air_c: f64, oven: &Parameters) -> [[f64; 5]; 5] {
    const NUDGE: f64 = 1e-3;
    let mut slopes = [[0.0; 5]; 5];
    for column in 0..5 {
        let nudged = |by: f64| {
            let mut moved = *x;
            moved[column] += by;
            imbalance(&moved, air_c, oven)
        };
        let (above, below) = (nudged(NUDGE), nudged(-NUDGE));
        for row in 0..5 {
            slopes[row][column] = (above[row] - below[row]) / (2.0 * NUDGE);
        }
    }
    slopes
}

/// Gaussian elimination with row exchange; `None` for a singular matrix.
fn solve(mut a: [[f64; 5]; 5], mut b: [f64; 5]) -> Option<[f64; 5]> {
    for k in 0..5 {
        let pivot = (k..5).max_by(|&i, &j| a[i][k].abs().total_cmp(&a[j][k].abs()))?;
        a.swap(k, pivot);
        b.swap(k, pivot);
        if !a[k][k].is_finite() || a[k][k] == 0.0 {
            return None;
        }
        for row in k + 1..5 {
            let factor = a[row][k] / a[k][k];
            let pivot = a[k];
            for (entry, above) in a[row].iter_mut().zip(pivot).skip(k) {
                *entry -= factor * above;
            }
            b[row] -= factor * b[k];
        }
    }
    for k in (0..5).rev() {
        let known: f64 = (k + 1..5).map(|column| a[k][column] * b[column]).sum();
        b[k] = (b[k] - known) / a[k][k];
    }
    Some(b)
}

#[cfg(test)]
mod tests {
    use super::super::parameters::annealing_oven;
    use super::*;

    #[test]
    fn heater_power_equals_the_losses_when_nothing_changes() {
        let oven = annealing_oven();
        let (t, power) = hold(510.0, &oven).unwrap();
        let flows = Flows::at(&t, power, false, &oven);
        assert!((flows.lost() - power).abs() < 1e-5);
        assert!(t.element > t.air && t.air > t.shell && t.shell > oven.room_c);
    }

    /// The default oven is what its users count on: 30 to 60 % of its power at 510 degC.
    #[test]
    fn the_annealing_oven_needs_a_good_third_to_a_half_of_its_power_at_510() {
        let oven = annealing_oven();
        let (_, power) = hold(510.0, &oven).unwrap();
        let share = power / oven.rated_power_w;
        assert!((0.30..0.60).contains(&share), "{share}");
    }

    #[test]
    fn what_is_no_temperature_has_no_steady_state() {
        assert_eq!(hold(f64::NAN, &annealing_oven()), None);
    }

    /// Closed form: x + y = 3, x - y = 1 and three plain equations.
    #[test]
    fn elimination_solves_a_system_that_needs_a_row_exchange() {
        let mut a = [[0.0; 5]; 5];
        a[0][1] = 1.0;
        a[1][0] = 1.0;
        a[1][1] = 1.0;
        (2..5).for_each(|k| a[k][k] = 2.0);
        let x = solve(a, [1.0, 3.0, 2.0, 4.0, 6.0]).unwrap();
        let expected = [2.0, 1.0, 1.0, 2.0, 3.0];
        assert!(x.iter().zip(expected).all(|(x, e)| (x - e).abs() < 1e-12));
    }
}
