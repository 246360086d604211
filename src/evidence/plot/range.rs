//! How much of two steps a picture shows.

use super::step::SideCurves;
use crate::evidence::comparison::{Comparison, Side};

/// The target and the half-width of the band that counts as settled.
pub(super) fn target_and_band(side: Side<'_>) -> Option<(f64, f64)> {
    let band = side.episode.numbers.settling_band.or(side.record.band);
    side.episode.to.zip(band)
}

/// The common window, cut where both have long been quiet, so that the action fills the picture.
pub(super) fn shown_s(comparison: &Comparison<'_>) -> f64 {
    let window = |side: &Side<'_>| {
        let length = side.episode.end_s - side.episode.start_s;
        side.episode.numbers.window_s.unwrap_or(length)
    };
    let sides = comparison.sides();
    let common = sides.iter().map(window).fold(f64::INFINITY, f64::min);
    let settled = sides
        .iter()
        .map(|side| side.episode.numbers.settling_s)
        .try_fold(0.0, |longest: f64, at| at.map(|at| longest.max(at)));
    let quiet = settled.map_or(f64::INFINITY, |at| whole_minutes(1.6 * at));
    let shown = common.min(quiet);
    if shown.is_finite() && shown > 0.0 {
        shown
    } else {
        60.0
    }
}

fn whole_minutes(seconds: f64) -> f64 {
    if seconds < 300.0 {
        (seconds / 10.0).ceil() * 10.0
    } else {
        (seconds / 60.0).round() * 60.0
    }
}

pub(super) fn whole_range(curves: &[SideCurves<'_>; 2], shown: (f64, f64)) -> Option<(f64, f64)> {
    let all = curves.iter().flat_map(|curves| {
        let target = target_and_band(curves.side);
        let band = target
            .into_iter()
            .flat_map(|(to, band)| [to - band, to + band]);
        curves.pv.values(shown).chain(band)
    });
    let (low, high) = all.fold((f64::INFINITY, f64::NEG_INFINITY), |(low, high), value| {
        (low.min(value), high.max(value))
    });
    let drawn = curves
        .iter()
        .any(|curves| curves.pv.values(shown).next().is_some());
    // Room above and below for the labels.
    let room = (0.11 * (high - low)).max(0.5);
    drawn.then_some((low - room, high + room))
}

/// As much about the target as the larger overshoot, or three bands if that is more.
pub(super) fn target_range(comparison: &Comparison<'_>) -> Option<(f64, f64)> {
    let (target, band) = target_and_band(comparison.after)?;
    let overshoot = comparison
        .sides()
        .iter()
        .filter_map(|side| side.episode.numbers.overshoot)
        .fold(0.0, f64::max);
    let reach = (1.25 * overshoot).max(3.0 * band);
    Some((target - reach, target + reach))
}
