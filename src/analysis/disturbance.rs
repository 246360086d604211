//! Where the process value left the band by itself and came back.

use super::integrals::integrals;
use super::settle::{Dwell, ROUNDING, Stay, passes_through, settled, stays};
use super::stretch::Stretch;

/// A disturbance has so many samples outside the band...
const FEWEST: usize = 3;
/// ...or one that lies beyond it by so many standard deviations of the noise.
const OVER_NOISE: f64 = 3.0;

/// A hold in which disturbances are sought.
#[derive(Clone, Copy, Debug)]
pub(crate) struct Search<'a> {
    pub(crate) line: &'a Stretch,
    pub(crate) target: f64,
    pub(crate) band: f64,
    pub(crate) sample_s: f64,
    /// How long it must first stay in the band, where the hold does not begin settled: what comes from
    /// a tune or another mode swings through the band for longer than ten samples.
    pub(crate) settles_for_s: Option<f64>,
    pub(crate) noise_sd: f64,
    /// So many of its samples can be outside the band: not one that begins what comes next.
    pub(crate) counting: usize,
    /// Less than this is no turning round.
    pub(crate) hysteresis: f64,
}

/// A disturbance; times in the line's seconds.
#[derive(Clone, Copy, Debug, PartialEq)]
pub(crate) struct Disturbance {
    pub(crate) begins_s: f64,
    /// When it came back to stay, or the hold's end.
    pub(crate) ends_s: f64,
    pub(crate) returned: bool,
    /// Process value minus setpoint where that was farthest, to the side it first went to.
    pub(crate) depth: f64,
    /// Farthest to the other side after that, until it ended and as long again; not below 0.
    pub(crate) overshoot: f64,
    pub(crate) iae: f64,
}

impl Search<'_> {
    /// Every disturbance from where the line has settled on.
    pub(crate) fn disturbances(&self) -> Vec<Disturbance> {
        let dwell = Dwell {
            sample_s: self.sample_s,
            oscillation_s: None,
        };
        let at_first = Dwell {
            oscillation_s: self.settles_for_s,
            ..dwell
        };
        let Some(settled) = settled(self.line, self.target, self.band, at_first, self.hysteresis)
        else {
            return Vec::new();
        };
        let mut stays = stays(self.line, self.target, self.band);
        stays.retain(|stay| stay.begins_s >= settled.at_s);
        let mut found = Vec::new();
        let mut at = 0;
        while let Some(left) = stays.get(at) {
            if left.end >= self.line.y.len() {
                break;
            }
            let back =
                (at + 1..stays.len()).find(|next| self.is_return(left, &stays[*next], dwell));
            let returned = back.map(|back| &stays[back]);
            found.extend(self.disturbance(left, returned));
            at = back.unwrap_or(stays.len());
        }
        found
    }

    /// Whether a stay lasts long enough after the line left, and is not only passed through.
    fn is_return(&self, left: &Stay, stay: &Stay, dwell: Dwell) -> bool {
        let since_s = left.ends_s;
        stay.ends_s - stay.begins_s >= dwell.after(stay.begins_s - since_s)
            && !passes_through(self.line, self.target, *stay, since_s, self.hysteresis)
    }

    fn disturbance(&self, left: &Stay, returned: Option<&Stay>) -> Option<Disturbance> {
        let begins_s = left.ends_s;
        let ends_s = returned.map_or(self.line.end_s(), |stay| stay.begins_s);
        let end = returned.map_or(self.line.y.len(), |stay| stay.first);
        let off = |index: usize| self.line.y[index] - self.target;
        let side = off(left.end).signum();
        let farthest = |range: std::ops::Range<usize>, side: f64| {
            range.fold((0.0, left.end), |best: (f64, usize), index| {
                let size = side * off(index);
                if size > best.0 { (size, index) } else { best }
            })
        };
        let (depth, deepest) = farthest(left.end..end, side);
        let counting = left.end..end.min(self.counting);
        let is_outside = |index: &usize| off(*index).abs() > self.band + ROUNDING;
        let outside = counting.clone().filter(is_outside);
        let beyond = counting.map(|index| off(index).abs()).fold(0.0, f64::max) - self.band;
        if outside.count() < FEWEST && beyond <= OVER_NOISE * self.noise_sd {
            return None;
        }
        let until_s = ends_s + (ends_s - begins_s);
        let later = self.line.t.partition_point(|t| *t <= until_s);
        let (overshoot, _) = farthest(deepest..later.max(deepest), -side);
        let part = self.line.part(begins_s, ends_s);
        Some(Disturbance {
            begins_s,
            ends_s,
            returned: returned.is_some(),
            depth: side * depth,
            overshoot,
            iae: integrals(&part.t, &part.y, self.target).iae,
        })
    }
}

#[cfg(test)]
mod tests {
    use super::*;

    fn found(y: &[f64], noise_sd: f64) -> Vec<Disturbance> {
        counted(y, noise_sd, y.len())
    }

    fn counted(y: &[f64], noise_sd: f64, counting: usize) -> Vec<Disturbance> {
        let line = Stretch {
            t: (0..y.len()).map(|i| i as f64).collect(),
            y: y.to_vec(),
        };
        let search = Search {
            line: &line,
            target: 100.0,
            band: 2.0,
            sample_s: 1.0,
            settles_for_s: None,
            noise_sd,
            counting,
            hysteresis: 0.1,
        };
        search.disturbances()
    }

    /// Rest, a line to each value in turn with so many seconds, rest.
    fn path(corners: &[(usize, f64)]) -> Vec<f64> {
        let mut y = vec![100.0; 20];
        for (seconds, to) in corners {
            let from = y[y.len() - 1];
            y.extend((1..=*seconds).map(|i| from + (to - from) * i as f64 / *seconds as f64));
        }
        y.extend(vec![y[y.len() - 1]; 40]);
        y
    }

    #[test]
    fn a_dip_has_its_depth_area_and_time() {
        // Down by 10 in 10 s and up again: beyond 2 degrees from 2 s to 18 s, in closed form
        // 2 * (2 + 10) / 2 * 8 = 96 degree.s.
        let all = found(&path(&[(10, 90.0), (10, 100.0)]), 0.0);
        assert_eq!(all.len(), 1, "{all:?}");
        let dip = all[0];
        assert!((dip.begins_s - 21.0).abs() < 1e-9 && (dip.ends_s - 37.0).abs() < 1e-9);
        assert!((dip.depth + 10.0).abs() < 1e-12 && (dip.iae - 96.0).abs() < 1e-9);
        assert!(dip.returned && dip.overshoot.abs() < 1e-12);
    }

    #[test]
    fn the_overshoot_on_return_belongs_to_it() {
        let all = found(&path(&[(10, 90.0), (20, 105.0), (10, 100.0)]), 0.0);
        assert_eq!(all.len(), 1, "{all:?}");
        assert!((all[0].overshoot - 5.0).abs() < 1e-9);
        assert!((all[0].depth + 10.0).abs() < 1e-9);
    }

    #[test]
    fn excursions_with_a_short_return_between_are_one() {
        let twice = |between: usize| {
            let door = [(5, 90.0), (5, 100.0)];
            found(
                &path(&[door[0], door[1], (between, 100.0), door[0], door[1]]),
                0.0,
            )
            .len()
        };
        assert_eq!((twice(5), twice(30)), (1, 2));
    }

    #[test]
    fn one_that_does_not_come_back_ends_with_the_hold() {
        let all = found(&path(&[(10, 90.0)]), 0.0);
        assert_eq!((all.len(), all[0].returned), (1, false));
        assert!((all[0].ends_s - 69.0).abs() < 1e-9);
    }

    #[test]
    fn a_sample_that_begins_what_comes_next_is_no_disturbance() {
        let mut y = path(&[]);
        y.push(80.0);
        assert_eq!(counted(&y, 0.2, y.len()).len(), 1);
        assert_eq!(counted(&y, 0.2, y.len() - 1), []);
    }

    #[test]
    fn a_single_sample_hardly_out_is_noise() {
        let mut y = path(&[]);
        y[40] = 102.5;
        assert_eq!(found(&y, 0.2), []);
        y[40] = 103.0;
        assert_eq!(found(&y, 0.2).len(), 1);
    }
}
