//! When a process value has come to stay in a band.

use super::stretch::Stretch;

/// Samples that a stay must last at least.
const SAMPLES: f64 = 10.0;
/// Part of the time since the step that a stay must last at least.
const PART_OF_TIME: f64 = 0.05;

/// A value this near to the edge of a band is inside: digits meet the edge often, and a target that
/// was worked out is rounded.
pub(crate) const ROUNDING: f64 = 1e-9;

/// How long a stay in the band must last to count as settled.
#[derive(Clone, Copy, Debug)]
pub(crate) struct Dwell {
    /// The usual interval between samples.
    pub(crate) sample_s: f64,
    /// One period of the oscillation, where there is one.
    pub(crate) oscillation_s: Option<f64>,
}

/// When it settled, and how long it then had to stay for that.
#[derive(Clone, Copy, Debug, PartialEq)]
pub(crate) struct Settled {
    /// When the line came into the band, interpolated at the band's edge.
    pub(crate) at_s: f64,
    /// How long it had to stay.
    pub(crate) dwell_s: f64,
}

/// One stay of the line inside the band.
#[derive(Clone, Copy, Debug)]
pub(crate) struct Stay {
    /// Where the line came in and went out, interpolated; else the line's own ends.
    pub(crate) begins_s: f64,
    pub(crate) ends_s: f64,
    /// First sample inside, and one past the last.
    pub(crate) first: usize,
    pub(crate) end: usize,
}

impl Dwell {
    /// How long a stay must last that begins so long after the change.
    pub(crate) fn after(self, begins_s: f64) -> f64 {
        (SAMPLES * self.sample_s)
            .max(PART_OF_TIME * begins_s)
            .max(self.oscillation_s.unwrap_or(0.0))
    }
}

/// When the line has settled in `target` +- `band`: the beginning of the first stay that lasts the
/// dwell. A line that only passes through, in at one side and out at the other without turning
/// round by more than `hysteresis`, has not settled however slowly it passes.
pub(crate) fn settled(
    line: &Stretch,
    target: f64,
    band: f64,
    dwell: Dwell,
    hysteresis: f64,
) -> Option<Settled> {
    stays(line, target, band).into_iter().find_map(|stay| {
        let dwell_s = dwell.after(stay.begins_s);
        let lasts = stay.ends_s - stay.begins_s >= dwell_s;
        (lasts && !passes_through(line, target, stay, 0.0, hysteresis)).then_some(Settled {
            at_s: stay.begins_s,
            dwell_s,
        })
    })
}

/// Every stay of the line in `target` +- `band` that holds a sample, in order.
pub(crate) fn stays(line: &Stretch, target: f64, band: f64) -> Vec<Stay> {
    let inside: Vec<bool> = line
        .y
        .iter()
        .map(|y| (y - target).abs() <= band + ROUNDING)
        .collect();
    let mut found = Vec::new();
    let mut first = 0;
    for run in inside.chunk_by(|a, b| a == b) {
        let end = first + run.len();
        if run[0] {
            found.push(Stay {
                begins_s: edge_before(line, target, band, first),
                ends_s: edge_after(line, target, band, end),
                first,
                end,
            });
        }
        first = end;
    }
    found
}

fn edge_before(line: &Stretch, target: f64, band: f64, first: usize) -> f64 {
    match first {
        0 => line.t[0],
        _ => line.when(first, edge_towards(line.y[first - 1], target, band)),
    }
}

fn edge_after(line: &Stretch, target: f64, band: f64, end: usize) -> f64 {
    match line.y.get(end) {
        Some(outside) => line.when(end, edge_towards(*outside, target, band)),
        None => line.end_s(),
    }
}

fn edge_towards(outside: f64, target: f64, band: f64) -> f64 {
    target + band.copysign(outside - target)
}

/// In at one side and out at the other, all the way in one direction, and in less time than it
/// took to come here since `since_s`.
pub(crate) fn passes_through(
    line: &Stretch,
    target: f64,
    stay: Stay,
    since_s: f64,
    hysteresis: f64,
) -> bool {
    let before = stay.first.checked_sub(1).map(|index| line.y[index]);
    let (Some(before), Some(after)) = (before, line.y.get(stay.end)) else {
        return false;
    };
    let direction = (after - target).signum();
    let crosses = direction * (before - target) < 0.0;
    crosses
        && stay.ends_s - stay.begins_s < stay.begins_s - since_s
        && !turns(&line.y[stay.first..stay.end], direction, hysteresis)
}

fn turns(values: &[f64], direction: f64, hysteresis: f64) -> bool {
    let mut farthest = f64::NEG_INFINITY;
    values.iter().any(|y| {
        farthest = farthest.max(direction * y);
        farthest - direction * y > hysteresis
    })
}

#[cfg(test)]
#[expect(clippy::float_cmp, reason = "these figures are exact in binary")]
mod tests {
    use super::*;

    const DWELL: Dwell = Dwell {
        sample_s: 1.0,
        oscillation_s: None,
    };

    fn line(corners: &[(f64, f64)]) -> Stretch {
        let end = corners.last().unwrap().0 as u32;
        let t: Vec<f64> = (0..=end).map(f64::from).collect();
        let y = t.iter().map(|t| on(corners, *t)).collect();
        Stretch { t, y }
    }

    fn on(corners: &[(f64, f64)], t: f64) -> f64 {
        let pair = corners.windows(2).find(|pair| t <= pair[1].0).unwrap();
        let ((t0, y0), (t1, y1)) = (pair[0], pair[1]);
        y0 + (y1 - y0) * (t - t0) / (t1 - t0)
    }

    #[test]
    fn it_settles_where_the_line_meets_the_edge_of_the_band() {
        // 0 to 10 in 100 s: 9.75 is met at 97.5 s.
        let line = line(&[(0.0, 0.0), (100.0, 10.0), (200.0, 10.0)]);
        let found = settled(&line, 10.0, 0.25, DWELL, 0.0).unwrap();
        assert!((found.at_s - 97.5).abs() < 1e-12);
        assert_eq!(found.dwell_s, 10.0);
    }

    #[test]
    fn passing_slowly_through_the_band_is_not_settling() {
        // The 30 s between 8 and 12 are longer than 10 samples and 5 % of the time before.
        let line = line(&[
            (0.0, 0.0),
            (60.0, 8.0),
            (90.0, 12.0),
            (120.0, 14.0),
            (180.0, 10.0),
            (300.0, 10.0),
        ]);
        let found = settled(&line, 10.0, 2.0, DWELL, 0.1).unwrap();
        assert!((found.at_s - 150.0).abs() < 1e-9);
    }

    #[test]
    fn a_disturbance_does_not_unsettle() {
        let line = line(&[
            (0.0, 0.0),
            (60.0, 10.0),
            (200.0, 10.0),
            (220.0, 5.0),
            (260.0, 10.0),
            (400.0, 10.0),
        ]);
        let found = settled(&line, 10.0, 2.0, DWELL, 0.1).unwrap();
        assert!((found.at_s - 48.0).abs() < 1e-9);
    }

    #[test]
    fn a_stay_shorter_than_an_oscillation_is_not_settling() {
        let line = line(&[(0.0, 0.0), (60.0, 10.0), (100.0, 10.0)]);
        let dwell = Dwell {
            oscillation_s: Some(60.0),
            ..DWELL
        };
        assert_eq!(settled(&line, 10.0, 2.0, dwell, 0.1), None);
    }
}
