//! Swings of the process value about the target.

use super::noise::median;
use super::stretch::Stretch;

/// A swing is part of an oscillation only if it is at most so many times the one before it; a
/// larger one has a cause of its own, such as an opened door.
const GROWTH: f64 = 1.5;

/// An oscillation that lasts has so many periods, alike to this factor, and its last swing so many
/// periods before the end at most.
const LASTING: usize = 3;
const ALIKE: f64 = 2.0;
const NEAR_THE_END: f64 = 1.5;

/// One stay on one side of the target.
#[derive(Clone, Copy, Debug, PartialEq)]
pub(crate) struct Swing {
    /// Whether it is beyond the target, as seen from where the step began.
    pub(crate) past: bool,
    /// When it was farthest from the target.
    pub(crate) at_s: f64,
    /// How far, not below 0.
    pub(crate) size: f64,
    begins_s: f64,
    ends_s: f64,
    turned: bool,
}

/// What the swings of a step say.
#[derive(Clone, Copy, Debug, Default, PartialEq)]
pub(crate) struct Oscillation {
    /// Between the first two peaks past the target.
    pub(crate) peak_to_peak_s: Option<f64>,
    /// The second of those peaks over the first.
    pub(crate) decay_ratio: Option<f64>,
    /// The first peak past the target, and when it was.
    pub(crate) first_peak: Option<f64>,
    first_peak_s: f64,
    /// Whether it goes on, evenly, to the end of the window.
    lasts: bool,
    /// The size of the largest swing.
    largest: f64,
    /// One period, from those peaks or else from a peak and the trough after it.
    pub(crate) period_s: Option<f64>,
    /// Half peak to peak, averaged over the whole cycles after the first.
    pub(crate) amplitude: Option<f64>,
}

impl Oscillation {
    /// The oscillation if its first peak was not later than this, or if it lasts and leaves the band;
    /// else none.
    pub(crate) fn of_step(self, latest_s: f64, band: Option<f64>) -> Self {
        let leaves_band = band.is_some_and(|band| self.largest > band);
        match self.first_peak {
            Some(_) if self.first_peak_s <= latest_s || self.lasts && leaves_band => self,
            _ => Self::default(),
        }
    }
}

/// The oscillation that a step sets off, from swings that pass the target by more than
/// `hysteresis` on either side.
pub(crate) fn oscillation(line: &Stretch, target: f64, sign: f64, hysteresis: f64) -> Oscillation {
    let all = swings(line, target, sign, hysteresis);
    let chain = step_chain(&all, line.end_s());
    let peaks: Vec<&Swing> = chain.iter().filter(|swing| swing.past).collect();
    let (peak_to_peak_s, decay_ratio) = match peaks[..] {
        [first, second, ..] => (
            Some(second.at_s - first.at_s),
            Some(second.size / first.size),
        ),
        _ => (None, None),
    };
    let half_s = chain.get(..2).map(|two| two[1].at_s - two[0].at_s);
    Oscillation {
        peak_to_peak_s,
        decay_ratio,
        first_peak: peaks.first().map(|first| first.size),
        first_peak_s: peaks.first().map_or(0.0, |first| first.at_s),
        period_s: peak_to_peak_s.or(half_s.map(|half| 2.0 * half)),
        amplitude: amplitude(&chain),
        lasts: lasting_s(&chain, line.end_s()).is_some(),
        largest: chain.iter().map(|swing| swing.size).fold(0.0, f64::max),
    }
}

/// The usual period of swings that go on to the end: at least three periods from each swing to the one
/// after next, all alike, and the last swing is not long before the end.
fn lasting_s(chain: &[Swing], end_s: f64) -> Option<f64> {
    let periods: Vec<f64> = chain
        .windows(3)
        .map(|three| three[2].at_s - three[0].at_s)
        .collect();
    let usual_s = median(periods.clone())?;
    let alike = |period: &f64| *period <= ALIKE * usual_s && usual_s <= ALIKE * period;
    let is_near_the_end = end_s - chain.last()?.at_s <= NEAR_THE_END * usual_s;
    let lasts = periods.len() >= LASTING && periods.iter().all(alike) && is_near_the_end;
    lasts.then_some(usual_s)
}

/// Every stay on one side of the target beyond the hysteresis, in order.
fn swings(line: &Stretch, target: f64, sign: f64, hysteresis: f64) -> Vec<Swing> {
    let mut found: Vec<Swing> = Vec::new();
    for (t, y) in line.t.iter().zip(&line.y) {
        let past_by = sign * (y - target);
        let (past, size) = (past_by > 0.0, past_by.abs());
        match found.last_mut() {
            Some(swing) if swing.past == past || size <= hysteresis => {
                swing.turned = true;
                if swing.past == past && size > hysteresis {
                    swing.ends_s = *t;
                }
                if swing.past == past && size > swing.size {
                    (swing.size, swing.at_s, swing.turned) = (size, *t, false);
                }
            }
            _ if size > hysteresis => found.push(Swing::beginning(past, *t, size)),
            _ => {}
        }
    }
    found
}

impl Swing {
    fn beginning(past: bool, t: f64, size: f64) -> Self {
        Self {
            past,
            at_s: t,
            size,
            begins_s: t,
            ends_s: t,
            turned: false,
        }
    }

    fn duration_s(&self) -> f64 {
        self.ends_s - self.begins_s
    }
}

/// The swings that a step set off: those that follow upon the first peak past the target. Where they
/// build up, each much larger than the one before, but then last to the end, all of them: a loop that
/// never comes to rest begins with a small swing.
fn step_chain(all: &[Swing], end_s: f64) -> Vec<Swing> {
    let first = all.iter().position(|swing| swing.past);
    let from_first = &all[first.unwrap_or(all.len())..];
    let own = chain(from_first);
    let later = chain(&from_first[own.len()..]);
    let goes_on = own.last().zip(later.first()).is_some_and(|(last, next)| {
        let usual_s = lasting_s(&later, end_s);
        usual_s.is_some_and(|usual_s| next.at_s - last.at_s <= usual_s)
    });
    if goes_on { [own, later].concat() } else { own }
}

/// The swings that follow upon the first of these: each passes the target in no more time than the one
/// before it lasted, has turned, and is not much larger.
fn chain(all: &[Swing]) -> Vec<Swing> {
    let mut chain: Vec<Swing> = Vec::new();
    for swing in all {
        let follows = chain.last().is_none_or(|before| {
            swing.begins_s - before.ends_s <= before.duration_s()
                && swing.size <= GROWTH * before.size
        });
        if !follows || !swing.turned {
            break;
        }
        chain.push(*swing);
    }
    chain
}

/// Half peak to peak over neighbouring swings; the first cycle belongs to the step itself.
fn amplitude(chain: &[Swing]) -> Option<f64> {
    let lasting = chain.get(2..).filter(|rest| rest.len() >= 2)?;
    let pairs = lasting.windows(2);
    let count = pairs.len() as f64;
    let sum: f64 = pairs
        .map(|pair| f64::midpoint(pair[0].size, pair[1].size))
        .sum();
    Some(sum / count)
}

#[cfg(test)]
mod tests {
    use super::*;

    fn sampled(response: impl Fn(f64) -> f64) -> Stretch {
        let t: Vec<f64> = (0..8000).map(|i| f64::from(i) * 0.05).collect();
        let y = t.iter().map(|t| response(*t)).collect();
        Stretch { t, y }
    }

    #[test]
    fn a_second_order_response_decays_by_its_closed_form() {
        // y = 1 - exp(-z w t) (cos wd t + z/sqrt(1-z^2) sin wd t): successive peaks past the target
        // are 2 pi / wd apart and fall by exp(-2 pi z / sqrt(1-z^2)).
        let (z, w) = (0.2_f64, 0.1_f64);
        let root = (1.0 - z * z).sqrt();
        let wd = w * root;
        let line =
            sampled(|t| 1.0 - (-z * w * t).exp() * ((wd * t).cos() + z / root * (wd * t).sin()));
        let found = oscillation(&line, 1.0, 1.0, 1e-6);
        let period = 2.0 * std::f64::consts::PI / wd;
        let decay = (-2.0 * std::f64::consts::PI * z / root).exp();
        assert!((found.peak_to_peak_s.unwrap() - period).abs() < 0.1);
        assert!((found.decay_ratio.unwrap() - decay).abs() < 1e-4);
    }

    #[test]
    fn swings_that_go_on_to_the_end_count_whenever_they_began() {
        let swinging = |until_s: f64| {
            sampled(move |t| match t {
                ..20.0 => t / 20.0,
                _ if t < until_s => 1.0 + 0.1 * (t / 20.0 * std::f64::consts::PI).sin(),
                _ => 1.0,
            })
        };
        let period_s = |until_s, band| {
            oscillation(&swinging(until_s), 1.0, 1.0, 0.01)
                .of_step(5.0, Some(band))
                .period_s
        };
        assert!((period_s(400.0, 0.05).unwrap() - 40.0).abs() < 0.2);
        assert_eq!(period_s(400.0, 0.15), None, "it keeps to the band");
        assert_eq!(
            period_s(300.0, 0.05),
            None,
            "it ended long before the window"
        );
    }

    #[test]
    fn swings_that_build_up_and_then_last_are_one_oscillation() {
        // Every half period of 25 s a larger swing: 0.1, 0.25, and then 0.3 for ever.
        let size = |t: f64| match t {
            ..50.0 => 0.1,
            50.0..75.0 => 0.25,
            _ => 0.3,
        };
        let line = sampled(|t| match t {
            ..25.0 => t / 25.0,
            _ => 1.0 + size(t) * ((t - 25.0) / 25.0 * std::f64::consts::PI).sin(),
        });
        let found = oscillation(&line, 1.0, 1.0, 0.01);
        assert!((found.period_s.unwrap() - 50.0).abs() < 0.2);
        assert!(found.lasts && (found.largest - 0.3).abs() < 1e-3);
    }

    #[test]
    fn a_door_opened_long_after_the_overshoot_is_no_second_swing() {
        let line = sampled(|t| match t {
            ..20.0 => t / 20.0,
            20.0..40.0 => 1.0 + 0.1 * ((t - 20.0) / 20.0 * std::f64::consts::PI).sin(),
            200.0..240.0 => 1.0 - 0.1 * ((t - 200.0) / 40.0 * std::f64::consts::PI).sin(),
            240.0..260.0 => 1.0 + 0.1 * ((t - 240.0) / 20.0 * std::f64::consts::PI).sin(),
            _ => 1.0,
        });
        let found = oscillation(&line, 1.0, 1.0, 0.01);
        assert_eq!((found.period_s, found.decay_ratio), (None, None));
        assert!((found.first_peak.unwrap() - 0.1).abs() < 1e-3);
    }
}
