//! Whether the output was at its limit: then the heater, not the tuning, sets the pace.

use super::noise::noise_sd;
use crate::trace::Trace;

/// Outputs closer than this are the same.
const SAME: f64 = 0.05;
/// A limit below full power is one when the output lies on it for so many samples in a row.
const PLATEAU: usize = 10;
/// A record whose output moves less than this shows no limit.
const LEAST_RANGE: f64 = 5.0;
/// The output before an episode is looked at for so long, to see that it moves.
const LOOK_BACK_S: f64 = 60.0;
/// While the output stays, the process value must move by so many standard deviations of its noise,
/// and by this part of the way to the target: a controller that is not at its limit would answer.
const MOVED_OVER_NOISE: f64 = 6.0;
const MOVED_PART: f64 = 0.1;

/// A stretch in which a process value was to go somewhere.
#[derive(Clone, Copy, Debug)]
pub(crate) struct Way<'a> {
    pub(crate) trace: &'a Trace<'a>,
    pub(crate) from_s: f64,
    pub(crate) to_s: f64,
    pub(crate) target: f64,
    /// +1 for a rise, which the upper limit holds back; -1 for a fall and the lower one.
    pub(crate) sign: f64,
}

/// Time an output spent at its limit.
#[derive(Clone, Copy, Debug, PartialEq)]
pub(crate) struct AtLimit {
    /// The limit in percent.
    pub(crate) limit: f64,
    /// How long.
    pub(crate) time_s: f64,
}

impl Way<'_> {
    /// How long the output was at the limit that holds this way back, from its beginning up to
    /// `until_s`. `None` without an output column or a limit in it.
    pub(crate) fn at_limit(&self, until_s: f64) -> Option<AtLimit> {
        let limit = self.limit()?;
        let time_s = self.time_at(limit, self.from_s, until_s);
        Some(AtLimit { limit, time_s })
    }

    /// Whether the output was at this limit all the time from `from_s` to the end.
    pub(crate) fn ends_at(&self, limit: f64, from_s: f64) -> bool {
        let [first, end] = self.samples(from_s, self.to_s);
        let output = self.trace.output.and_then(|all| all.get(first..end));
        output.is_some_and(|output| output.iter().all(|u| self.is_at(*u, limit)))
    }

    /// How long the output was at this limit between two times.
    pub(crate) fn time_at(&self, limit: f64, from_s: f64, to_s: f64) -> f64 {
        let Some(output) = self.trace.output else {
            return 0.0;
        };
        let [first, end] = self.samples(from_s, to_s);
        let times = self.trace.time_s;
        (first + 1..end)
            .filter(|index| self.is_at(output[*index], limit))
            .filter(|index| self.is_at(output[index - 1], limit))
            .map(|index| times[index] - times[index - 1])
            .sum()
    }

    fn is_at(&self, output: f64, limit: f64) -> bool {
        self.sign * (output - limit) >= -SAME
    }

    fn samples(&self, from_s: f64, to_s: f64) -> [usize; 2] {
        let first = self.trace.time_s.partition_point(|t| *t < from_s);
        let end = self.trace.time_s.partition_point(|t| *t <= to_s);
        [first, end.max(first)]
    }

    /// The limit that the output shows: full or no power, or a level at which it stays although the
    /// process value is on its way.
    pub(crate) fn limit(&self) -> Option<f64> {
        let [first, end] = self.samples(self.from_s - LOOK_BACK_S, self.to_s);
        let output = self.trace.output?.get(first..end)?;
        let known = || output.iter().copied().filter(|u| u.is_finite());
        let (low, high) = (
            known().fold(f64::INFINITY, f64::min),
            known().fold(f64::NEG_INFINITY, f64::max),
        );
        let (extreme, full) = if self.sign > 0.0 {
            (high, 100.0)
        } else {
            (low, 0.0)
        };
        if (extreme - full).abs() <= SAME {
            return Some(full);
        }
        let held = self.is_held(extreme, output, &self.trace.pv[first..end]);
        (held && high - low > LEAST_RANGE).then_some(extreme)
    }

    /// Whether the output stays at `level` while the process value, short of the target, moves. Where
    /// both rest, that is no limit but a hold.
    fn is_held(&self, level: f64, output: &[f64], pv: &[f64]) -> bool {
        let noise = MOVED_OVER_NOISE * noise_sd(pv);
        let short = |y: f64| self.sign * (self.target - y) > 0.0;
        let on_its_way = |(u, y): (&f64, &f64)| (u - level).abs() <= SAME && short(*y);
        let samples: Vec<_> = output.iter().zip(pv).collect();
        let runs = samples.chunk_by(|a, b| on_its_way(*a) == on_its_way(*b));
        let mut plateaus = runs.filter(|run| run.len() >= PLATEAU && on_its_way(run[0]));
        plateaus.any(|run| {
            let values = run.iter().map(|(_, y)| **y);
            let (low, high) = values.fold((f64::INFINITY, f64::NEG_INFINITY), |(low, high), y| {
                (low.min(y), high.max(y))
            });
            let way = (self.target - run[0].1).abs();
            high - low > noise.max(MOVED_PART * way)
        })
    }
}

#[cfg(test)]
mod tests {
    use super::*;

    fn at_limit(output: &[f64], pv: &[f64], sign: f64) -> Option<AtLimit> {
        let time_s: Vec<f64> = (0..output.len()).map(|i| i as f64).collect();
        let trace = Trace {
            time_s: &time_s,
            pv,
            setpoint: None,
            output: Some(output),
            autotune: None,
        };
        let way = Way {
            trace: &trace,
            from_s: 0.0,
            to_s: 1e9,
            target: 100.0,
            sign,
        };
        way.at_limit(1e9)
    }

    fn rising(count: usize) -> Vec<f64> {
        (0..count).map(|i| i as f64).collect()
    }

    #[test]
    fn time_at_full_power_is_counted() {
        let output = [20.0, 100.0, 100.0, 100.0, 60.0];
        let found = at_limit(&output, &rising(5), 1.0).unwrap();
        assert_eq!((found.limit, found.time_s), (100.0, 2.0));
    }

    #[test]
    fn an_output_that_stays_while_the_process_value_moves_is_at_its_limit() {
        let mut output = vec![80.0; 32];
        output.push(30.0);
        let found = at_limit(&output, &rising(33), 1.0).unwrap();
        assert_eq!((found.limit, found.time_s), (80.0, 31.0));
    }

    #[test]
    fn an_output_that_rests_is_not_at_a_limit() {
        // It rests at 54 % on target, after less on the way.
        let output = [vec![30.0; 5], vec![54.0; 40]].concat();
        let resting = [rising(5), vec![99.9; 40]].concat();
        assert_eq!(at_limit(&output, &resting, 1.0), None);
        // A proportional controller rests short of the target.
        let offset = [rising(5), vec![60.0; 40]].concat();
        assert_eq!(at_limit(&output, &offset, 1.0), None);
        assert_eq!(at_limit(&[54.0; 40], &rising(40), 1.0), None);
    }
}
