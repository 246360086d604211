//! The end of a window, and whether the process value has come to rest there.

use super::stretch::Stretch;

/// The last part that must be level: a tenth, or a minute where there is that much.
const LAST_PART: f64 = 0.1;
const LAST_S: f64 = 60.0;
/// It is level when it drifts by no more than this part of the whole change...
const LEVEL_PART: f64 = 0.02;
/// ...or so many standard deviations of the noise.
const LEVEL_OVER_NOISE: f64 = 3.0;

/// The last tenth of a window, or its last minute where that is more and there is that much.
#[derive(Clone, Copy, Debug)]
pub(crate) struct LastPart<'a> {
    t: &'a [f64],
    y: &'a [f64],
}

/// How long the last part of a window of `end_s` seconds is.
pub fn last_part_s(end_s: f64) -> f64 {
    (LAST_PART * end_s).max(end_s.min(LAST_S))
}

impl<'a> LastPart<'a> {
    /// Of a window's samples; the window ends `end_s` after its beginning.
    pub(crate) fn of(samples: &'a Stretch, end_s: f64) -> Self {
        let from_s = end_s - last_part_s(end_s);
        let first = samples.t.partition_point(|t| *t < from_s);
        Self {
            t: &samples.t[first..],
            y: &samples.y[first..],
        }
    }

    /// When it begins, in the window's seconds.
    pub(crate) fn begins_s(self) -> f64 {
        self.t.first().copied().unwrap_or_default()
    }

    /// Mean of its samples over this level; `None` where there is none.
    pub(crate) fn mean_over(self, level: f64) -> Option<f64> {
        let sum: f64 = self.y.iter().map(|y| y - level).sum();
        (!self.y.is_empty()).then(|| sum / self.y.len() as f64)
    }

    /// Whether it is level, beside a whole change of `change`: by a straight line of least squares.
    pub(crate) fn is_level(self, change: f64, noise_sd: f64) -> bool {
        let most = (LEVEL_PART * change.abs()).max(LEVEL_OVER_NOISE * noise_sd);
        self.drift().abs() <= most
    }

    /// How far that line rises from its beginning to its end.
    fn drift(self) -> f64 {
        let (Some(middle_s), Some(level)) = (mean(self.t), mean(self.y)) else {
            return 0.0;
        };
        let pairs = || self.t.iter().zip(self.y);
        let across: f64 = pairs().map(|(t, y)| (t - middle_s) * (y - level)).sum();
        let along: f64 = self.t.iter().map(|t| (t - middle_s).powi(2)).sum();
        let length_s = self.t[self.t.len() - 1] - self.t[0];
        if along > 0.0 {
            across / along * length_s
        } else {
            0.0
        }
    }
}

fn mean(values: &[f64]) -> Option<f64> {
    (!values.is_empty()).then(|| values.iter().sum::<f64>() / values.len() as f64)
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn a_line_that_still_creeps_is_not_level() {
        // Over the last 100 of 1000 s it rises by 1 degree: 2 % of 50.
        let t: Vec<f64> = (0..=1000).map(f64::from).collect();
        let y: Vec<f64> = t.iter().map(|t| 0.01 * t).collect();
        let line = Stretch { t, y };
        let last = LastPart::of(&line, 1000.0);
        assert!((last.drift() - 1.0).abs() < 1e-9);
        assert!(last.is_level(51.0, 0.0) && !last.is_level(49.0, 0.0));
        assert!(last.is_level(0.0, 0.34) && !last.is_level(0.0, 0.33));
        assert!((last.begins_s() - 900.0).abs() < 1e-9);
        assert!((last.mean_over(9.0).unwrap() - 0.5).abs() < 1e-9);
    }

    #[test]
    fn nothing_is_level() {
        let line = Stretch {
            t: Vec::new(),
            y: Vec::new(),
        };
        assert!(LastPart::of(&line, 0.0).is_level(0.0, 0.0));
        assert_eq!(LastPart::of(&line, 0.0).mean_over(0.0), None);
    }
}
