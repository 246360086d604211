//! The numbers of a ramp.

use super::changes::Movement;
use super::episode::{Note, StepNumbers, Window};
use super::gaps::Gaps;
use super::noise::noise_sd;
use super::notes;
use super::nothing;
use super::own::RampNumbers;
use super::start::Start;
use super::step::{Findings, Step};
use super::stretch::Stretch;
use super::trust;
use crate::trace::Trace;

/// A ramp and what came of it.
pub(crate) struct Ramp {
    pub(crate) numbers: StepNumbers,
    pub(crate) own: RampNumbers,
    pub(crate) notes: Vec<Note>,
}

/// Works out how a ramp of the setpoint was followed, and how the process value settled at its end;
/// `arrival` is the step from there to the next change.
pub(crate) fn measure(
    trace: &Trace<'_>,
    movement: &Movement,
    arrival: &Step,
    period_s: f64,
) -> Ramp {
    let ramp = Stretch::cut(trace, movement.begins_s, movement.arrives_s);
    let lasted_s = movement.arrives_s - movement.begins_s;
    let delta = movement.to - movement.from;
    let start = Start {
        value: movement.from,
        averaged: true,
    };
    let line = Stretch::cut(trace, arrival.at_s, arrival.end_s);
    let samples = Stretch::samples(trace, arrival.at_s, arrival.end_s);
    let found = Findings::judged(
        arrival,
        (line, samples),
        start,
        (delta, delta.signum()),
        period_s,
    );
    let after = found.numbers(Window::Whole);
    let mut notes = notes::about_arrival(&found, &after);
    notes.extend(trust::coarse_sensor(&found));
    notes.extend(nothing::of_arrival(&found, &after));
    let following = following(trace, movement);
    Ramp {
        own: RampNumbers {
            rate_per_min: Some(60.0 * delta / lasted_s),
            following_mean: following.map(|(mean, _)| mean),
            following_max: following.map(|(_, largest)| largest),
        },
        numbers: StepNumbers {
            overshoot: after.overshoot,
            overshoot_pct: after.overshoot_pct,
            overshoot_smoothed: after.overshoot_smoothed,
            peak_s: after.peak_s.map(|peak| lasted_s + peak),
            settling_s: after.settling_s,
            settling_band: after.settling_band,
            settling_2pct_s: after.settling_2pct_s,
            window_s: Some(lasted_s),
            noise_sd: Some(noise_sd(&ramp.y)),
            missing_s: Some(Gaps::of_period(period_s).missing_between(
                trace.time_s,
                movement.begins_s,
                movement.arrives_s,
            )),
            ..StepNumbers::default()
        },
        notes,
    }
}

/// Process value minus setpoint: the mean over time by the trapezoidal rule, and the value farthest
/// from 0. A missing setpoint is the one before it.
fn following(trace: &Trace<'_>, movement: &Movement) -> Option<(f64, f64)> {
    let first = trace.time_s.partition_point(|t| *t < movement.begins_s);
    let end = trace.time_s.partition_point(|t| *t <= movement.arrives_s);
    let times = trace.time_s.get(first..end)?;
    let mut setpoint = movement.from;
    let known = trace.setpoint?.get(first..end)?.iter();
    let off: Vec<f64> = known
        .zip(&trace.pv[first..end])
        .map(|(r, y)| {
            if r.is_finite() {
                setpoint = *r;
            }
            y - setpoint
        })
        .collect();
    let spans = times.windows(2).zip(off.windows(2));
    let area: f64 = spans
        .map(|(t, off)| f64::midpoint(off[0], off[1]) * (t[1] - t[0]))
        .sum();
    let lasted_s = times.last()? - times.first()?;
    let mut farthest = *off.first()?;
    for value in off {
        if value.abs() > farthest.abs() {
            farthest = value;
        }
    }
    (lasted_s > 0.0).then(|| (area / lasted_s, farthest))
}
