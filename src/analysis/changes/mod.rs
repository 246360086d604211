//! Where the setpoint moved, and how: at once, steadily, or so little that it hardly counts.

mod runs;
mod stairs;

use runs::{add_cluster, is_ramp, steady_runs};
use stairs::stairs;

use super::gaps::sample_period;
use super::noise::noise_sd;

/// Changes closer than this are one: a person keying digits.
pub(crate) const KEYING_S: f64 = 30.0;
/// A ramp takes longer than this.
const RAMP_S: f64 = 30.0;
/// Setpoints are missing where two known ones are farther apart than so many sample periods.
const GAP: f64 = 1.5;
/// Changes of a noisy (analogue) setpoint smaller than so many standard deviations are noise.
const SETPOINT_NOISE: f64 = 6.0;

/// How the setpoint moved.
#[derive(Clone, Copy, Debug, PartialEq, Eq)]
pub(crate) enum Manner {
    /// At once, or keyed digit by digit.
    AtOnce,
    /// Steadily for longer than a person keys.
    Steadily,
}

/// One movement of the setpoint from one value to the next.
#[derive(Clone, Copy, Debug, PartialEq)]
pub(crate) struct Movement {
    pub(crate) manner: Manner,
    /// The first sample of the movement.
    pub(crate) begins_s: f64,
    /// The first sample that carries the last value.
    pub(crate) arrives_s: f64,
    pub(crate) from: f64,
    pub(crate) to: f64,
    /// How many changes it is made of.
    pub(crate) changes: usize,
}

/// One change between neighbouring samples.
#[derive(Clone, Copy, Debug)]
struct Change {
    /// Which of the known setpoints carries it first.
    index: usize,
    at_s: f64,
    from: f64,
    to: f64,
    /// Whether setpoints are missing right before it: what happened there is not known.
    is_behind_gap: bool,
    /// Time without setpoints up to it, from the record's beginning.
    missing_s: f64,
}

impl Change {
    fn size(&self) -> f64 {
        self.to - self.from
    }

    /// Whether a person could have keyed both in one go.
    fn is_keyed_with(&self, next: &Self) -> bool {
        next.at_s - self.at_s <= KEYING_S
    }

    /// Whether the setpoint moved on in one direction from one sample to the next, however far they are
    /// apart, or so soon after a gap that it may have moved all the time.
    fn goes_on_with(&self, next: &Self) -> bool {
        let at_once = next.index == self.index + 1 || self.known_s_to(next) <= KEYING_S;
        at_once && self.size().signum() == next.size().signum()
    }

    /// How long the setpoint is known between both.
    fn known_s_to(&self, next: &Self) -> f64 {
        next.at_s - self.at_s - (next.missing_s - self.missing_s)
    }
}

/// All movements in order; samples without a setpoint (NaN) keep the last one known.
pub(crate) fn movements(time_s: &[f64], setpoint: &[f64]) -> Vec<Movement> {
    let changes = changes(time_s, setpoint);
    let (mut found, mut others) = (Vec::new(), Vec::new());
    let linked = |a: &Change, b: &Change| a.is_keyed_with(b) || a.goes_on_with(b);
    for cluster in changes.chunk_by(linked) {
        if steady_runs(cluster).iter().any(|run| is_ramp(run)) {
            add_single(&others, &mut found);
            others.clear();
            add_cluster(cluster, &mut found);
        } else {
            others.extend_from_slice(cluster);
        }
    }
    add_single(&others, &mut found);
    found
}

fn changes(time_s: &[f64], setpoint: &[f64]) -> Vec<Change> {
    let known: Vec<(f64, f64)> = time_s
        .iter()
        .zip(setpoint)
        .filter(|(_, value)| value.is_finite())
        .map(|(t, value)| (*t, *value))
        .collect();
    let values: Vec<f64> = known.iter().map(|(_, value)| *value).collect();
    // A setpoint that comes as a number has no noise, and then every change is one.
    let noise = SETPOINT_NOISE * noise_sd(&values);
    let longest_s = GAP * sample_period(time_s);
    let mut found = Vec::new();
    let mut level = values.first().copied().unwrap_or_default();
    let (mut before_s, mut missing_s) = (f64::INFINITY, 0.0);
    for (index, (at_s, value)) in known.into_iter().enumerate() {
        let is_behind_gap = at_s - before_s > longest_s;
        if is_behind_gap {
            missing_s += at_s - before_s;
        }
        if (value - level).abs() > noise {
            found.push(Change {
                index,
                at_s,
                from: level,
                to: value,
                is_behind_gap,
                missing_s,
            });
            level = value;
        }
        before_s = at_s;
    }
    found
}

/// Changes that are in no ramp by themselves: even stairs among them are one, and of the others those
/// that were keyed together are one movement.
fn add_single(changes: &[Change], found: &mut Vec<Movement>) {
    let (mut at, mut rest) = (0, 0);
    let keyed = |changes: &[Change], found: &mut Vec<Movement>| {
        for together in changes.chunk_by(Change::is_keyed_with) {
            found.extend(movement(together, Manner::AtOnce));
        }
    };
    while at < changes.len() {
        let stairs = stairs(&changes[at..]);
        if stairs.is_empty() {
            at += 1;
            continue;
        }
        keyed(&changes[rest..at], found);
        found.extend(movement(stairs, Manner::Steadily));
        at += stairs.len();
        rest = at;
    }
    keyed(&changes[rest..], found);
}

fn movement(changes: &[Change], manner: Manner) -> Option<Movement> {
    let (first, last) = changes.first().zip(changes.last())?;
    Some(Movement {
        manner,
        begins_s: first.at_s,
        arrives_s: last.at_s,
        from: first.from,
        to: last.to,
        changes: changes.len(),
    })
}

#[cfg(test)]
mod tests {
    use super::*;

    fn by_second(setpoint: impl Fn(f64) -> f64) -> Vec<Movement> {
        let time_s: Vec<f64> = (0..2000).map(f64::from).collect();
        let setpoint: Vec<f64> = time_s.iter().map(|t| setpoint(*t)).collect();
        movements(&time_s, &setpoint)
    }

    #[test]
    fn digits_keyed_one_by_one_are_one_movement_to_the_last() {
        let found = by_second(|t| match t {
            ..100.0 => 490.0,
            ..105.0 => 5.0,
            ..112.0 => 51.0,
            _ => 510.0,
        });
        assert_eq!(found.len(), 1);
        let step = found[0];
        assert_eq!((step.from, step.to), (490.0, 510.0));
        assert_eq!((step.begins_s, step.arrives_s), (100.0, 112.0));
        assert_eq!(step.changes, 3);
        assert_eq!(step.manner, Manner::AtOnce);
    }

    #[test]
    fn a_ramp_is_one_movement() {
        // 0.1 degree every few seconds, as a controller with one decimal shows 2 degrees a minute.
        let found =
            by_second(|t| 20.0 + ((t - 50.0).clamp(0.0, 900.0) / 30.0 * 10.0).round() / 10.0);
        assert_eq!(found.len(), 1, "{found:?}");
        assert_eq!(found[0].manner, Manner::Steadily);
        assert_eq!((found[0].from, found[0].to), (20.0, 50.0));
    }

    #[test]
    fn a_ramp_in_whole_degrees_is_one_movement_too() {
        let found = by_second(|t| 20.0 + (t / 90.0).floor());
        assert_eq!(found.len(), 1, "{found:?}");
        assert_eq!(found[0].manner, Manner::Steadily);
    }

    #[test]
    fn a_programmer_that_moves_the_setpoint_each_minute_makes_a_ramp() {
        // Seven degrees a minute, and the rest of the way.
        let found = by_second(|t| (100.0 + 7.0 * (t / 60.0).floor()).min(205.0));
        assert_eq!(found.len(), 1, "{found:?}");
        assert_eq!(found[0].manner, Manner::Steadily);
        assert_eq!((found[0].from, found[0].to), (100.0, 205.0));
        assert_eq!((found[0].begins_s, found[0].arrives_s), (60.0, 900.0));
    }

    #[test]
    fn a_gap_does_not_cut_a_ramp() {
        let known = |t: &f64| !(300.0..400.0).contains(t);
        let time_s: Vec<f64> = (0..1000).map(f64::from).filter(known).collect();
        let setpoint: Vec<f64> = time_s
            .iter()
            .map(|t| 20.0 + 0.5 * (t - 100.0).clamp(0.0, 600.0))
            .collect();
        let found = movements(&time_s, &setpoint);
        assert_eq!(found.len(), 1, "{found:?}");
        assert_eq!((found[0].from, found[0].to), (20.0, 320.0));
    }

    #[test]
    fn stairs_as_long_as_a_person_keys_are_a_ramp_too() {
        // Every 30 or 35 s, so that some follow within what a person keys and some do not.
        let at = |stair: u32| 100.0 + 32.5 * f64::from(stair) + 2.5 * f64::from(stair % 2);
        let found = by_second(|t| {
            let stairs = (0..14).filter(|stair| t >= at(*stair).floor()).count();
            50.0 + 5.0 * stairs as f64
        });
        assert_eq!(found.len(), 1, "{found:?}");
        assert_eq!(
            (found[0].from, found[0].to, found[0].changes),
            (50.0, 120.0, 14)
        );
    }

    #[test]
    fn a_ramp_that_is_seldom_looked_at_is_one_movement() {
        let time_s: Vec<f64> = (0..40).map(|i| 60.0 * f64::from(i)).collect();
        let ramp = |t: &f64| 20.0 + 10.0 * (t / 60.0 - 5.0).clamp(0.0, 20.0);
        let setpoint: Vec<f64> = time_s.iter().map(ramp).collect();
        let found = movements(&time_s, &setpoint);
        assert_eq!(found.len(), 1, "{found:?}");
        assert_eq!((found[0].manner, found[0].changes), (Manner::Steadily, 20));
        // Two changes that follow each other are no ramp, but two steps.
        let steps = |t: &f64| match *t {
            ..600.0 => 20.0,
            ..660.0 => 100.0,
            _ => 200.0,
        };
        let setpoint: Vec<f64> = time_s.iter().map(steps).collect();
        let steps = movements(&time_s, &setpoint);
        assert_eq!(steps.len(), 2, "{steps:?}");
    }

    #[test]
    fn even_steps_of_many_degrees_are_steps() {
        let found = by_second(|t| 100.0 + 20.0 * (t / 300.0).floor());
        assert_eq!(found.len(), 6, "{found:?}");
        assert!(found.iter().all(|step| step.manner == Manner::AtOnce));
    }

    #[test]
    fn a_jump_to_the_process_value_before_a_ramp_is_part_of_it() {
        let found = by_second(|t| match t {
            ..100.0 => 500.0,
            _ => (30.0 + (t - 100.0) * 0.5).min(200.0),
        });
        assert_eq!(found.len(), 1, "{found:?}");
        assert_eq!((found[0].from, found[0].to), (30.0, 200.0));
    }

    #[test]
    fn rows_without_a_setpoint_are_no_change() {
        let found = by_second(|t| if t % 3.0 == 0.0 { f64::NAN } else { 510.0 });
        assert_eq!(found, []);
    }

    #[test]
    fn an_analogue_setpoint_does_not_move_with_its_noise() {
        let noise = |t: f64| 0.05 * (t * 12.9898).sin();
        let found = by_second(|t| noise(t) + if t < 1000.0 { 490.0 } else { 510.0 });
        assert_eq!(found.len(), 1, "{found:?}");
        assert!((found[0].to - 510.0).abs() < 0.1);
    }
}
