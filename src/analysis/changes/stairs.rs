//! Even stairs: a slow ramp, or one that a programmer makes.

use super::{Change, RAMP_S};

/// So many even stairs are a ramp, each like the others to this factor.
const STAIRS: usize = 4;
const EVEN: f64 = 2.0 + 1e-9;
/// A slow ramp shows as even stairs of one unit of the setpoint's last digit, at most one degree,
/// however long each lasts.
const STAIR: f64 = 1.0 + 1e-9;
/// Higher stairs are a ramp when they are so short that no hold fits between them; else each is a
/// step of its own.
const STAIR_S: f64 = 300.0;

/// The longest even stairs from the first change on; none where they are too few.
pub(super) fn stairs(changes: &[Change]) -> &[Change] {
    let Some(first) = changes.first() else {
        return &[];
    };
    let (mut heights, mut widths) = (Range::none(), Range::none());
    if !first.is_behind_gap {
        heights.add(first.size().abs());
    }
    let mut end = 1;
    for pair in changes.windows(2) {
        let (width, height) = (pair[0].known_s_to(&pair[1]), pair[1].size().abs());
        let is_short = width < STAIR_S || heights.most.max(height) <= STAIR;
        let goes_on = pair[0].size().signum() == pair[1].size().signum();
        // The last one may be lower, and sooner.
        let is_over = height > EVEN * heights.least && !pair[1].is_behind_gap;
        if !goes_on || !is_short || is_over || width > EVEN * widths.least {
            break;
        }
        end += 1;
        if !pair[1].is_behind_gap {
            heights.add(height);
        }
        // What a gap delayed makes the next one come sooner.
        let has_gap = pair[1].missing_s > pair[0].missing_s;
        if !has_gap && !pair[0].is_behind_gap {
            widths.add(width);
        }
        if !heights.is_even() || !widths.is_even() {
            break;
        }
    }
    let all = &changes[..end];
    let lasts = all[end - 1].at_s - first.at_s > RAMP_S;
    if end >= STAIRS && lasts { all } else { &[] }
}

/// The least and the most of some values.
struct Range {
    least: f64,
    most: f64,
}

impl Range {
    fn none() -> Self {
        Self {
            least: f64::INFINITY,
            most: 0.0,
        }
    }

    fn add(&mut self, value: f64) {
        self.least = self.least.min(value);
        self.most = self.most.max(value);
    }

    fn is_even(&self) -> bool {
        self.most <= EVEN * self.least
    }
}
