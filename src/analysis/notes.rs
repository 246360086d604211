//! What must be known to trust the numbers of a step.

use super::episode::{Note, StepNumbers};
use super::gaps::Gaps;
use super::output_limit::AtLimit;
use super::settle::Settled;
use super::step::{Findings, Step};
use crate::figures::{amount, duration};
use crate::trace::Trace;

/// A band narrower than so many standard deviations of the noise says little.
const BAND_OVER_NOISE: f64 = 4.0;
/// An overshoot smaller than so many is hardly more than the noise.
const OVERSHOOT_OVER_NOISE: f64 = 6.0;
/// Fewer samples than this are too few for a step, and half of it for its rise.
const FEW_SAMPLES: usize = 10;
/// A shorter time at the limit is not worth a word.
const PERIODS_AT_LIMIT: f64 = 5.0;

fn note(code: &'static str, about: &'static str, text: String) -> Note {
    Note::new(code, about, text)
}

/// Whether the noise is large enough beside the band or the overshoot to bend the numbers.
pub(crate) fn noise_matters(found: &Findings<'_>) -> bool {
    let overshoot = found.course.overshoot.size;
    let near_noise = overshoot < OVERSHOOT_OVER_NOISE * found.noise_sd;
    overshoot > 0.0 && (near_noise || band_in_noise(found.settling_band, found.noise_sd))
}

pub(crate) fn band_in_noise(band: Option<f64>, noise_sd: f64) -> bool {
    band.is_some_and(|band| band < BAND_OVER_NOISE * noise_sd)
}

/// The notes on the numbers themselves.
pub(crate) fn about(found: &Findings<'_>, numbers: &StepNumbers) -> Vec<Note> {
    [
        samples(found),
        small_step(found),
        single_start(found),
        repeated_times(found),
        rise(found, numbers),
        overshoot_gap(found),
        overshoot_noise(found, numbers),
        decay_noise(found, numbers),
        settling(found, numbers),
        settling_2pct(found, numbers),
    ]
    .into_iter()
    .flatten()
    .collect()
}

/// The notes on a line that is to arrive where a ramp ended.
pub(crate) fn about_arrival(found: &Findings<'_>, numbers: &StepNumbers) -> Vec<Note> {
    [
        samples(found),
        repeated_times(found),
        overshoot_gap(found),
        overshoot_noise(found, numbers),
        settling(found, numbers),
        settling_2pct(found, numbers),
    ]
    .into_iter()
    .flatten()
    .collect()
}

/// The note on a gap in which the step itself may have begun.
pub(crate) fn before_the_step(trace: &Trace<'_>, step: &Step, gaps: Gaps) -> Option<Note> {
    let at = trace.time_s.partition_point(|t| *t < step.at_s);
    let gap = gaps.ends_at(trace.time_s, at);
    gap.then(|| {
        let before = trace.time_s[at] - trace.time_s[at - 1];
        note(
            "gap-before",
            "",
            format!(
                "no samples for {} before the step: it may have begun that much earlier",
                duration(before)
            ),
        )
    })
}

/// The note on an output that lay at its limit during the approach.
pub(crate) fn output_at_limit(limit: AtLimit, period_s: f64) -> Option<Note> {
    (limit.time_s >= PERIODS_AT_LIMIT * period_s && limit.time_s > 0.0).then(|| {
        note(
            "output-at-limit",
            "rise_s",
            format!(
                "the output was at its limit of {} % for {}: there the heater, not the tuning, sets the pace",
                amount(limit.limit),
                duration(limit.time_s)
            ),
        )
    })
}

fn samples(found: &Findings<'_>) -> Option<Note> {
    let count = found.line.t.len();
    (count < FEW_SAMPLES).then(|| {
        note(
            "few-samples",
            "",
            format!("only {count} samples: poll faster or let the step run on"),
        )
    })
}

fn small_step(found: &Findings<'_>) -> Option<Note> {
    (!found.has_percentages()).then(|| {
        note(
            "small-step",
            "overshoot_pct",
            format!(
                "the process value began {} from the target, less than {}: no percentages",
                amount(found.delta.abs()),
                amount(found.step.min_step)
            ),
        )
    })
}

fn single_start(found: &Findings<'_>) -> Option<Note> {
    (!found.start.averaged).then(|| {
        note(
            "start-not-averaged",
            "initial",
            "fewer than three samples before the step: its start is the process value at the step"
                .to_owned(),
        )
    })
}

fn repeated_times(found: &Findings<'_>) -> Option<Note> {
    let pairs = found.line.t.windows(2);
    let count = pairs.filter(|pair| pair[0] >= pair[1]).count();
    (count > 0).then(|| {
        note(
            "repeated-times",
            "",
            format!("{count} samples repeat the time of the one before; kept in order"),
        )
    })
}

fn rise(found: &Findings<'_>, numbers: &StepNumbers) -> Option<Note> {
    if !found.has_percentages() {
        return None;
    }
    let [Some(ten), Some(ninety)] = found.rise() else {
        return Some(note(
            "not-reached",
            "rise_s",
            "90 % of the step was not reached in this window".to_owned(),
        ));
    };
    let times = &found.line.t;
    let in_gap = [ten, ninety]
        .iter()
        .any(|crossing| found.gaps.ends_at(times, crossing.after));
    if in_gap {
        return Some(note(
            "gap",
            "rise_s",
            "10 % or 90 % of the step was passed while samples were missing: the rise is taken from the line across the gap".to_owned(),
        ));
    }
    let few = numbers.rise_s.is_some() && ninety.after - ten.after < FEW_SAMPLES / 2;
    few.then(|| {
        note(
            "few-samples",
            "rise_s",
            format!(
                "only {} samples in the rise: poll faster to know it better",
                ninety.after - ten.after
            ),
        )
    })
}

fn overshoot_gap(found: &Findings<'_>) -> Option<Note> {
    let arrival = found.course.overshoot.arrival?;
    let times = &found.line.t;
    let hiding = found
        .gaps
        .all(times)
        .filter(|index| *index >= arrival && *index < found.course.overshoot.end)
        .find(|index| may_hide_a_peak(found, *index))?;
    Some(note(
        "gap",
        "overshoot",
        format!(
            "samples are missing for {} where the peak may lie: the overshoot is a lower bound",
            duration(times[hiding] - times[hiding - 1])
        ),
    ))
}

/// Whether the gap that ends at sample `index` may hide a peak higher than the one seen: the
/// highest sample lies at its edge, or the value goes up into it and comes down out of it to where
/// the two lines meet above that sample, or it is as long as the whole way to that sample.
fn may_hide_a_peak(found: &Findings<'_>, index: usize) -> bool {
    let times = &found.line.t;
    let (before, width) = (index - 1, times[index] - times[index - 1]);
    let Some(peak) = found.course.overshoot.peak else {
        return true;
    };
    let at_edge = peak == index || peak == before;
    at_edge || width >= times[peak] || meet_above(found, index, found.course.overshoot.size)
}

fn meet_above(found: &Findings<'_>, index: usize, size: f64) -> bool {
    let (t, y) = (&found.line.t, &found.line.y);
    let past = |i: usize| found.sign * (y[i] - found.step.target);
    let slope = |a: usize, b: usize| (past(b) - past(a)) / (t[b] - t[a]);
    if index < 2 || index + 1 >= t.len() {
        return false;
    }
    let (up, down) = (slope(index - 2, index - 1), slope(index, index + 1));
    if !(up > 0.0 && down < 0.0) {
        return false;
    }
    let width = t[index] - t[index - 1];
    let meet_s = (past(index) - past(index - 1) - down * width) / (up - down);
    past(index - 1) + up * meet_s > size + OVERSHOOT_OVER_NOISE * found.noise_sd
}

fn overshoot_noise(found: &Findings<'_>, numbers: &StepNumbers) -> Option<Note> {
    let smoothed = numbers.overshoot_smoothed?;
    Some(note(
        "near-noise",
        "overshoot",
        format!(
            "the noise (sd {}) raises the highest sample; smoothed, the overshoot is {}",
            amount(found.noise_sd),
            amount(smoothed)
        ),
    ))
}

fn decay_noise(found: &Findings<'_>, numbers: &StepNumbers) -> Option<Note> {
    let second = numbers.decay_ratio? * found.course.oscillation.first_peak?;
    (second < OVERSHOOT_OVER_NOISE * found.noise_sd).then(|| {
        note(
            "near-noise",
            "decay_ratio",
            format!(
                "the second peak ({}) is hardly more than the noise (sd {})",
                amount(second),
                amount(found.noise_sd)
            ),
        )
    })
}

fn settling(found: &Findings<'_>, numbers: &StepNumbers) -> Option<Note> {
    let band = numbers.settling_band?;
    settling_note(found, "settling_s", band, found.course.settled)
}

fn settling_2pct(found: &Findings<'_>, numbers: &StepNumbers) -> Option<Note> {
    let band = 0.02 * found.delta.abs();
    let same = numbers.settling_band == Some(band);
    // Without a band of its own the loop's band is the 2 %, and one note says it.
    if same || !found.has_percentages() {
        return None;
    }
    settling_note(found, "settling_2pct_s", band, found.course.settled_2pct)
}

fn settling_note(
    found: &Findings<'_>,
    about: &'static str,
    band: f64,
    settled: Option<Settled>,
) -> Option<Note> {
    let Some(settled) = settled else {
        return Some(not_settled(about, band, found.course.oscillation.period_s));
    };
    let stay_s = settled.at_s + settled.dwell_s;
    if let Some(gap) = found
        .gaps
        .longest_between(&found.line, settled.at_s, stay_s)
    {
        return Some(note(
            "gap",
            about,
            format!(
                "samples are missing for {} where it came into the band or settled there: the time is taken from the line across the gap",
                duration(gap)
            ),
        ));
    }
    band_in_noise(Some(band), found.noise_sd).then(|| {
        note(
            "band-in-noise",
            about,
            format!(
                "the band of {} is narrower than four times the noise (sd {}): a wider band tells more",
                amount(band),
                amount(found.noise_sd)
            ),
        )
    })
}

fn not_settled(about: &'static str, band: f64, period_s: Option<f64>) -> Note {
    let how_long = match period_s {
        Some(period) => format!("one period of its oscillation ({})", duration(period)),
        None => "long enough (10 samples and 5 % of the time since the step)".to_owned(),
    };
    note(
        "not-settled",
        about,
        format!(
            "it did not stay within {} of the target for {how_long} before the window ended",
            amount(band)
        ),
    )
}
