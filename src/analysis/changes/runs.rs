//! Runs of changes in one direction: ramps, and the jumps beside them.

use super::super::noise::median;
use super::{Change, Manner, Movement, RAMP_S, movement};

/// A ramp has at least so many changes.
const RAMP_CHANGES: usize = 5;
/// A change larger than so many usual ones is a jump, not part of a ramp.
const JUMP: f64 = 5.0;

/// Each part of a cluster that holds a ramp is a movement of its own.
pub(super) fn add_cluster(cluster: &[Change], found: &mut Vec<Movement>) {
    let runs = steady_runs(cluster);
    for (index, run) in runs.iter().enumerate() {
        let next_is_ramp = runs.get(index + 1).is_some_and(|next| is_ramp(next));
        if is_ramp(run) {
            found.extend(movement(run, Manner::Steadily));
        } else if !next_is_ramp {
            // A jump right before a ramp does not stay, so it is no step of its own.
            found.extend(movement(run, Manner::AtOnce));
        }
    }
}

/// Runs in one direction without jumps.
pub(super) fn steady_runs(cluster: &[Change]) -> Vec<&[Change]> {
    let sizes = cluster.iter().map(|change| change.size().abs()).collect();
    let usual = median(sizes).unwrap_or_default();
    let jumps = |change: &Change| !change.is_behind_gap && change.size().abs() > JUMP * usual;
    let alike =
        |a: &Change, b: &Change| a.size().signum() == b.size().signum() && jumps(a) == jumps(b);
    cluster.chunk_by(alike).collect()
}

pub(super) fn is_ramp(run: &[Change]) -> bool {
    let ends = run.first().zip(run.last());
    run.len() >= RAMP_CHANGES && ends.is_some_and(|(first, last)| last.at_s - first.at_s > RAMP_S)
}
