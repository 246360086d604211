//! Disturbances that look like an opened door.

use super::{Diagnosis, times};
use crate::analysis::episode::{Episode, EpisodeKind};
use crate::analysis::stretch::Stretch;
use crate::figures::{amount, duration};
use crate::trace::Trace;

/// The fall takes at most this part of the time to return.
const SUDDEN: f64 = 1.0 / 3.0;

pub(super) fn diagnose(trace: &Trace<'_>, episodes: &[Episode]) -> Option<Diagnosis> {
    let mut doors = episodes.iter().filter_map(|episode| door(trace, episode));
    let (start_s, evidence) = doors.next()?;
    let count = 1 + doors.count();
    Some(Diagnosis {
        code: "door",
        is_danger: false,
        text: "the temperature fell suddenly and came back by itself, as after a door was opened or a cold load put in; leave such stretches out of a judgement of the tuning".to_owned(),
        evidence: evidence + &times(count),
        start_s: Some(start_s),
        tuned_since: None,
    })
}

fn door(trace: &Trace<'_>, episode: &Episode) -> Option<(f64, String)> {
    if episode.kind != EpisodeKind::Disturbance {
        return None;
    }
    let own = episode.own.disturbance;
    let (depth, return_s) = own.depth.zip(own.return_s)?;
    let line = Stretch::cut(trace, episode.start_s, episode.end_s);
    let lowest = line.y.iter().copied().enumerate();
    let (index, _) = lowest.min_by(|(_, a), (_, b)| a.total_cmp(b))?;
    let fall_s = line.t[index];
    (depth < 0.0 && fall_s <= SUDDEN * return_s).then(|| {
        let evidence = format!(
            "down by {} within {}, back after {}",
            amount(-depth),
            duration(fall_s),
            duration(return_s)
        );
        (episode.start_s, evidence)
    })
}

#[cfg(test)]
mod tests {
    use super::*;
    use crate::analysis::{Options, find_episodes};

    /// Two hours at 510 with a dip of 20 that takes `fall_s`, and comes back within ten minutes.
    fn codes(fall_s: f64, sign: f64) -> Vec<&'static str> {
        let time_s: Vec<f64> = (0..7200).map(f64::from).collect();
        let dip = |t: f64| match t - 3600.0 {
            ..0.0 => 0.0,
            since if since < fall_s => since / fall_s,
            since => (1.0 - (since - fall_s) / 600.0).max(0.0),
        };
        let pv: Vec<f64> = time_s
            .iter()
            .map(|t| 510.0 + 20.0 * sign * dip(*t))
            .collect();
        let setpoint = vec![510.0; pv.len()];
        let trace = Trace {
            time_s: &time_s,
            pv: &pv,
            setpoint: Some(&setpoint),
            output: None,
            autotune: None,
        };
        let options = Options {
            band: Some(2.0),
            ..Options::default()
        };
        let episodes = find_episodes(&trace, &options).unwrap();
        let found = diagnose(&trace, &episodes);
        found.iter().map(|it| it.code).collect()
    }

    #[test]
    fn a_sudden_fall_that_comes_back_slowly_is_door_like() {
        assert_eq!(codes(60.0, -1.0), ["door"]);
        assert_eq!(codes(500.0, -1.0), [""; 0], "a slow one");
        assert_eq!(codes(60.0, 1.0), [""; 0], "upwards");
    }
}
