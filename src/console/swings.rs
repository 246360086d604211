//! How an autotune gets on: how often the process value has swung.

use super::words::number;
use crate::figures::duration;

/// The time left is told in seconds where it is shorter than this.
const SHORT_S: f64 = 120.0;

/// Swings that differ by more than this part are told as uneven (common practice, no source).
const UNEVEN: f64 = 0.25;

/// Where it is not known what a tune swings about, a process value that comes back by so many times the
/// hysteresis has turned.
const TURNED: f64 = 4.0;

/// Crossings of the setpoint since an autotune began; turns where it swings about something else.
#[derive(Clone, Debug, Default, PartialEq)]
pub(super) struct Swings {
    /// On which side of the setpoint it is; where its turns are counted, whether it rises.
    is_above: Option<bool>,
    /// When half swings began: crossings or turns.
    crossed_s: Vec<f64>,
    /// When and where the half swing under way was farthest.
    farthest: Option<(f64, f64)>,
    peaks: Vec<(f64, f64)>,
}

impl Swings {
    /// Takes a process value in; within `hysteresis` of the target it is on neither side. `None` where
    /// nobody knows what the tune swings about.
    pub(super) fn take(&mut self, at_s: f64, pv: f64, target: Option<f64>, hysteresis: f64) {
        match target {
            Some(target) => self.cross(at_s, pv, target, hysteresis),
            None => self.turn(at_s, pv, TURNED * hysteresis),
        }
    }

    fn turn(&mut self, at_s: f64, pv: f64, back: f64) {
        let Some((_, extreme)) = self.farthest else {
            self.farthest = Some((at_s, pv));
            return;
        };
        let moved = pv - extreme;
        match self.is_above {
            // It goes on to the same side.
            Some(true) if moved >= 0.0 => self.farthest = Some((at_s, pv)),
            Some(false) if moved <= 0.0 => self.farthest = Some((at_s, pv)),
            Some(_) if moved.abs() > back => {
                let turned = self.farthest.replace((at_s, pv));
                self.peaks.extend(turned);
                self.crossed_s.extend(turned.map(|(at_s, _)| at_s));
                self.is_above = Some(moved > 0.0);
            }
            None if moved.abs() > back => {
                self.is_above = Some(moved > 0.0);
                self.farthest = Some((at_s, pv));
            }
            _ => {}
        }
    }

    fn cross(&mut self, at_s: f64, pv: f64, target: f64, hysteresis: f64) {
        let deviation = pv - target;
        if deviation.abs() <= hysteresis {
            return;
        }
        let is_above = deviation > 0.0;
        if self.is_above.is_some_and(|was| was != is_above) {
            // The approach before the first crossing has no peak.
            let peak = self.farthest.take().filter(|_| !self.crossed_s.is_empty());
            self.peaks.extend(peak);
            self.crossed_s.push(at_s);
        }
        self.is_above = Some(is_above);
        let is_farther = |(_, known): (f64, f64)| deviation.abs() > (known - target).abs();
        if self.farthest.is_none_or(is_farther) {
            self.farthest = Some((at_s, pv));
        }
    }

    /// The extremes of the half swings that are complete: when, and the process value.
    pub(super) fn peaks(&self) -> &[(f64, f64)] {
        &self.peaks
    }

    /// The swing under way; two crossings make one.
    pub(super) fn count(&self) -> usize {
        self.crossed_s.len().div_ceil(2)
    }

    /// What the last whole swing tells of a disturbance: how far it differs from the one before. The first
    /// one is never judged: it begins wherever the loop was.
    pub(super) fn unevenness(&self, decimals: u32) -> Option<String> {
        let differ = |now: f64, before: f64| (now - before).abs() > UNEVEN * now.max(before);
        if let [.., a, _, b, _, c] = self.crossed_s[..] {
            // The first crossing ends the approach, the second one the first half swing.
            let is_judged = self.crossed_s.len() > 5;
            if is_judged && differ(c - b, b - a) {
                let (now, before) = (duration(c - b), duration(b - a));
                return Some(format!(
                    "the last swing took {now}, the one before {before}"
                ));
            }
        }
        if let [.., a, b, c, d] = self.peaks[..] {
            let (before, now) = ((b.1 - a.1).abs(), (d.1 - c.1).abs());
            if self.peaks.len() > 4 && differ(now, before) {
                let (now, before) = (number(now, decimals), number(before, decimals));
                return Some(format!(
                    "the last swing was {now} high, the one before {before}"
                ));
            }
        }
        None
    }

    /// The story so far, where `usual` swings make a tune; empty before the first crossing.
    pub(super) fn story(&self, now_s: f64, usual: Option<u8>) -> String {
        match (self.count(), usual) {
            (0, _) => String::new(),
            (count, None) => format!("swing {count}"),
            (count, Some(usual)) => {
                let usual = usize::from(usual);
                let left = self.left(now_s, usual);
                let left = left.map_or(String::new(), |left| format!(", {left}"));
                format!("swing {count} of about {}{left}", usual.max(count))
            }
        }
    }

    /// How long it may take yet: for each half swing that is to come the shortest or the longest there
    /// was. `None` where more swings than usual have passed.
    fn left(&self, now_s: f64, usual: usize) -> Option<String> {
        let last_s = self.crossed_s.last()?;
        // The approach before the first crossing is no half swing.
        let halves = self.crossed_s.windows(2).map(|pair| pair[1] - pair[0]);
        let (count, shortest, longest) = halves
            .fold((0, f64::INFINITY, 0.0_f64), |(n, low, high), half| {
                (n + 1, low.min(half), high.max(half))
            });
        if count < 2 {
            return Some("time left open".to_owned());
        }
        let to_come = (2 * usual).checked_sub(count)? as f64;
        let left_s = |half: f64| to_come * half - (now_s - last_s);
        let (low_s, high_s) = (left_s(shortest), left_s(longest));
        if high_s <= 0.0 {
            return Some("longer than usual".to_owned());
        }
        let minutes = |seconds: f64| (seconds / 60.0).max(0.0).ceil();
        Some(if high_s < SHORT_S {
            let tens = (high_s / 10.0).ceil() * 10.0;
            format!("about {tens} s left")
        } else if minutes(low_s) < minutes(high_s) {
            format!("{} to {} min left", minutes(low_s), minutes(high_s))
        } else {
            format!("about {} left", duration(60.0 * minutes(high_s)))
        })
    }
}

#[cfg(test)]
mod tests {
    use super::*;

    /// A sine of 10 minutes about the setpoint, sampled each second.
    fn swung(seconds: u32) -> Swings {
        let mut swings = Swings::default();
        for t in 0..seconds {
            let phase = f64::from(t) / 600.0 * std::f64::consts::TAU;
            swings.take(f64::from(t), 510.0 - 5.0 * phase.cos(), Some(510.0), 0.5);
        }
        swings
    }

    #[test]
    fn two_crossings_make_a_swing() {
        assert_eq!(swung(100).count(), 0);
        assert_eq!(swung(200).count(), 1);
        assert_eq!(swung(500).count(), 1);
        assert_eq!(swung(800).count(), 2);
    }

    #[test]
    fn a_half_swing_has_its_peak_once_it_is_over() {
        assert_eq!(swung(400).peaks(), []);
        assert_eq!(swung(800).peaks(), [(300.0, 515.0), (600.0, 505.0)]);
    }

    #[test]
    fn the_time_left_comes_from_the_half_swings_so_far() {
        // Crossings at 160, 460 and 760 s: half swings of 300 s, two of six done at 760 s.
        assert_eq!(
            swung(800).story(800.0, Some(3)),
            "swing 2 of about 3, about 20 min left"
        );
        assert_eq!(
            swung(200).story(200.0, Some(3)),
            "swing 1 of about 3, time left open"
        );
        assert_eq!(swung(200).story(200.0, None), "swing 1");
    }

    #[test]
    fn the_last_two_minutes_are_counted_in_seconds_and_an_overrun_is_told() {
        // Five of six half swings done at 1660 s: the last one takes 300 s.
        let told = |now_s: f64| swung(1700).story(now_s, Some(3));
        assert_eq!(told(1860.5), "swing 3 of about 3, about 100 s left");
        assert_eq!(told(1955.5), "swing 3 of about 3, about 10 s left");
        assert_eq!(told(1961.0), "swing 3 of about 3, longer than usual");
    }

    #[test]
    fn a_swing_unlike_the_one_before_is_told() {
        assert_eq!(swung(2400).unevenness(1), None);
        let mut swings = swung(1960);
        // From the crossing at 1960 s on twice as slow: the next whole swing takes 20 min.
        for t in 0..1300 {
            let phase = f64::from(t) / 1200.0 * std::f64::consts::TAU;
            swings.take(
                1960.0 + f64::from(t),
                510.0 + 5.0 * phase.sin(),
                Some(510.0),
                0.5,
            );
        }
        let told = swings.unevenness(1).unwrap();
        let expected = "the last swing took 20 min, the one before 10 min";
        assert!(told.starts_with(expected), "{told}");
    }

    #[test]
    fn a_swing_much_higher_than_the_one_before_is_told() {
        let mut swings = swung(1660);
        for t in 0..650 {
            let phase = f64::from(t) / 600.0 * std::f64::consts::TAU;
            swings.take(
                1660.0 + f64::from(t),
                510.0 - 9.0 * phase.sin(),
                Some(510.0),
                0.5,
            );
        }
        let told = swings.unevenness(1).unwrap();
        assert_eq!(told, "the last swing was 18.0 high, the one before 10.0");
    }

    #[test]
    fn swings_below_the_setpoint_are_counted_by_their_turns() {
        let mut swings = Swings::default();
        // From cold to 459, then about 454 with 5 degrees and 10 minutes.
        for t in 0..2000 {
            let t = f64::from(t);
            let phase = (t - 500.0) / 600.0 * std::f64::consts::TAU;
            let pv = if t < 500.0 {
                20.0 + t * 0.878
            } else {
                454.0 + 5.0 * phase.cos()
            };
            swings.take(t, pv, None, 0.5);
        }
        let turns = [
            (500.0, 459.0),
            (800.0, 449.0),
            (1100.0, 459.0),
            (1400.0, 449.0),
            (1700.0, 459.0),
        ];
        assert_eq!(swings.peaks(), turns);
        assert_eq!(swings.count(), 3);
        assert_eq!(
            swings.story(1900.0, Some(4)),
            "swing 3 of about 4, about 17 min left"
        );
    }
}
