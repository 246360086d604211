//! The dominant cycle of a record.

use std::ops::Range;

use super::bins::{Bin, Bins};
use super::grid::{Grid, Place};
use super::peak::{FIRST, Scatter, peaks};
use super::result::Cycle;
use super::sine;
use super::welch::Welch;

/// Values of a segment, where there are so many.
pub(super) const SEGMENT: usize = 4096;
/// Each level averages so many values of the one before it.
const STEP: f64 = 4.0;
/// A level has at least so many values.
const FEWEST: usize = 4 * FIRST;

/// The samples as they come, for cycles up to ten minutes at one sample a second.
pub(super) struct Quick {
    grid: Grid,
    welch: Welch,
    ready: Vec<f64>,
}

impl Quick {
    pub(super) fn new(period_s: f64) -> Self {
        Self {
            grid: Grid::new(period_s),
            welch: Welch::new(SEGMENT, period_s),
            ready: Vec::new(),
        }
    }

    /// What comes next does not follow.
    pub(super) fn break_off(&mut self) {
        self.grid.break_off();
        self.welch.break_off();
    }

    pub(super) fn add(&mut self, times: &[f64], values: &[f64]) {
        let Self { grid, welch, ready } = self;
        for (time, value) in times.iter().zip(values) {
            grid.put(*time, *value, |place| match place {
                Place::Next(value) => ready.push(value),
                Place::Break => {
                    welch.add(ready);
                    ready.clear();
                    welch.break_off();
                }
            });
        }
        welch.add(ready);
        ready.clear();
    }
}

/// A level and the places of its periodogram that only it can judge.
struct Level {
    welch: Welch,
    places: Range<usize>,
}

impl Level {
    /// Periods from the shortest it has, or the longest that the level before it reached.
    fn of(welch: Welch, reached_s: f64) -> Option<Self> {
        let segment_s = welch.length as f64 * welch.spacing_s;
        let last = welch.length / 2;
        let end = if reached_s > 0.0 {
            ((segment_s / reached_s).ceil() as usize).min(last)
        } else {
            last
        };
        (welch.count > 0 && end > FIRST).then_some(Self {
            places: FIRST..end,
            welch,
        })
    }

    fn reaches_s(&self) -> f64 {
        self.welch.length as f64 * self.welch.spacing_s / FIRST as f64
    }
}

/// The cycle with the largest amplitude of those that stand above the noise.
pub(super) fn cycle(quick: Quick, bins: &Bins) -> Option<Cycle> {
    let levels = levels(quick.welch, bins);
    let among = levels.iter().map(|level| level.places.len()).sum();
    let found = levels.iter().flat_map(|level| {
        let power = level.welch.average();
        let scatter = Scatter::of(level.welch.count);
        let places = peaks(&power, level.places.clone(), scatter, among);
        places.into_iter().map(move |at| {
            let size = level.welch.amplitude_squared(power[at]);
            (size, level, at)
        })
    });
    let (_, level, at) = found.max_by(|a, b| a.0.total_cmp(&b.0))?;
    let length = level.welch.length as f64;
    let (low, high) = ((at as f64 - 1.0) / length, (at as f64 + 1.0) / length);
    let (frequency, amplitude) = sine::best(level.welch.kept(), low, high);
    Some(Cycle {
        period_s: level.welch.spacing_s / frequency,
        amplitude,
    })
}

fn levels(quick: Welch, bins: &Bins) -> Vec<Level> {
    let mut found: Vec<Level> = Vec::new();
    let period_s = quick.spacing_s;
    let short = bins.are_samples() && quick.count == 0;
    let first = if short {
        averaged(&stretches_of_samples(bins.all(), period_s), period_s)
    } else {
        Some(quick)
    };
    found.extend(first.and_then(|welch| Level::of(welch, 0.0)));
    let mut spacing_s = if bins.are_samples() {
        STEP * period_s
    } else {
        bins.spacing_s()
    };
    while spacing_s > 0.0 {
        let stretches = stretches_of_means(bins.all(), spacing_s);
        let Some(welch) = averaged(&stretches, spacing_s) else {
            break;
        };
        let reached_s = found.last().map_or(0.0, Level::reaches_s);
        found.extend(Level::of(welch, reached_s));
        spacing_s *= STEP;
    }
    found
}

/// Segments as long as the longest stretch, or [`SEGMENT`]; `None` where that is too short.
fn averaged(stretches: &[Vec<f64>], spacing_s: f64) -> Option<Welch> {
    let longest = stretches.iter().map(Vec::len).max()?;
    if longest < FEWEST {
        return None;
    }
    let mut welch = Welch::new(longest.min(SEGMENT), spacing_s);
    for stretch in stretches {
        welch.add(stretch);
        welch.break_off();
    }
    Some(welch)
}

fn stretches_of_samples(bins: &[Bin], period_s: f64) -> Vec<Vec<f64>> {
    let mut grid = Grid::new(period_s);
    let mut found: Vec<Vec<f64>> = Vec::new();
    for bin in bins {
        grid.put(bin.time_s(), bin.value(), |place| match place {
            Place::Break => found.push(Vec::new()),
            Place::Next(value) => found.last_mut().into_iter().for_each(|it| it.push(value)),
        });
    }
    found
}

/// Means over even lengths of time.
fn stretches_of_means(bins: &[Bin], spacing_s: f64) -> Vec<Vec<f64>> {
    let cell = |bin: &Bin| (bin.time_s() / spacing_s).floor();
    let mut grid = Grid::new(spacing_s);
    let mut found: Vec<Vec<f64>> = Vec::new();
    for run in bins.chunk_by(|a, b| cell(a).total_cmp(&cell(b)).is_eq()) {
        let weight = |bin: &Bin| f64::from(bin.count);
        let count: f64 = run.iter().map(weight).sum();
        let mean = run.iter().map(|bin| weight(bin) * bin.value()).sum::<f64>() / count;
        let middle_s = (cell(&run[0]) + 0.5) * spacing_s;
        grid.put(middle_s, mean, |place| match place {
            Place::Break => found.push(Vec::new()),
            Place::Next(value) => found.last_mut().into_iter().for_each(|it| it.push(value)),
        });
    }
    found
}

#[cfg(test)]
mod tests {
    use super::super::drift::tests::noise;
    use super::*;

    fn found(values: &[f64], period_s: f64) -> Option<Cycle> {
        let times: Vec<f64> = (0..values.len()).map(|i| i as f64 * period_s).collect();
        let mut quick = Quick::new(period_s);
        let mut bins = Bins::new(period_s);
        quick.add(&times, values);
        bins.add(&times, values, &vec![f64::NAN; times.len()]);
        cycle(quick, &bins)
    }

    /// A record of white noise, or a wander with this time constant in samples.
    fn wander(seed: u64, count: usize, constant: f64) -> Vec<f64> {
        let mut chance = noise(seed);
        let keep = (-1.0 / constant).exp();
        let mut value = 0.0;
        (0..count)
            .map(|_| {
                value = keep * value + (1.0 - keep * keep).sqrt() * chance();
                value
            })
            .collect()
    }

    #[test]
    fn a_cycle_is_found_at_every_length_of_record() {
        for (count, period) in [
            (400, 37.0),
            (3000, 300.0),
            (20_000, 20.0),
            (100_000, 7000.0),
        ] {
            let mut values = wander(count as u64, count, 1.0);
            for (at, value) in values.iter_mut().enumerate() {
                *value = 0.3 * *value + 0.5 * (std::f64::consts::TAU * at as f64 / period).sin();
            }
            let cycle = found(&values, 2.0).unwrap();
            let off = cycle.period_s / (2.0 * period) - 1.0;
            assert!(off.abs() < 0.005, "{count}: {cycle:?}");
            assert!((cycle.amplitude - 0.5).abs() < 0.05, "{count}: {cycle:?}");
        }
    }

    #[test]
    fn chance_is_hardly_ever_taken_for_a_cycle() {
        for (count, constant) in [
            (300, 1e-3),
            (300, 30.0),
            (3000, 1e-3),
            (3000, 300.0),
            (20_000, 1e-3),
            (20_000, 2000.0),
        ] {
            let wrong =
                (1..=100).filter(|seed| found(&wander(*seed, count, constant), 1.0).is_some());
            let wrong = wrong.count();
            assert!(
                wrong <= 4,
                "{wrong} of 100 with {count} samples, {constant}"
            );
        }
    }

    #[test]
    fn nothing_has_no_cycle() {
        assert_eq!(found(&[], 1.0), None);
        assert_eq!(found(&[5.0; 1000], 1.0), None);
        assert_eq!(found(&[1.0, 2.0, 1.0, 2.0], 1.0), None);
    }
}
