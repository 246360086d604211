//! The figures of a recording, by Emberline's reader.

use std::fs;
use std::path::Path;

use emberline::clock::Stopwatch;
use emberline::record::{CsvColumns, open_source};
use emberline::sample::State;

use crate::figures::{Figures, SHARES, Taken};
use crate::processor;

/// Works them out and prints them, with what that took: all of this process.
pub(crate) fn print(recording: &Path) {
    let watch = Stopwatch::start();
    let opened = open_source(recording, &CsvColumns::default()).unwrap();
    let mut columns = [(); 3].map(|()| Histogram::default());
    let mut hours = Hours::default();
    let (mut good, mut last_s) = (0, 0.0);
    for block in opened.loops[0].samples() {
        for sample in block.unwrap().iter() {
            good += u64::from(sample.state == Some(State::Good));
            last_s = sample.time_s;
            hours.add(sample.time_s, sample.pv);
            columns[0].add(sample.pv);
            columns[1].add(sample.setpoint);
            columns[2].add(sample.output);
        }
    }
    let figures = Figures {
        columns: columns.map(|it| it.figures()).to_vec(),
        rest: [vec![last_s, good as f64], hours.figures()].concat(),
        taken: Taken {
            cpu_s: processor::time_so_far().map_or(f64::NAN, |it| it.as_secs_f64()),
            wall_s: watch.elapsed().as_secs_f64(),
            peak_mb: peak_mb().unwrap_or(f64::NAN),
        },
    };
    println!("{}", figures.to_json());
}

/// The most memory this process has taken (proc_pid_status(5)).
fn peak_mb() -> Option<f64> {
    let status = fs::read_to_string("/proc/self/status").ok()?;
    let line = status.lines().find_map(|it| it.strip_prefix("VmHWM:"))?;
    let kilobytes: f64 = line.trim().strip_suffix(" kB")?.parse().ok()?;
    Some(kilobytes / 1024.0)
}

/// How often each tenth was there: all figures are exact.
struct Histogram {
    counts: Vec<u64>,
}

impl Default for Histogram {
    fn default() -> Self {
        Self {
            counts: vec![0; 1 << 14],
        }
    }
}

impl Histogram {
    fn add(&mut self, value: f64) {
        // Added to 2^52 a number is rounded to a whole one, which then stands in the last bits.
        const WHOLE: f64 = 4_503_599_627_370_496.0;
        if !value.is_nan() {
            let tenths = (value * 10.0 + WHOLE).to_bits() - WHOLE.to_bits();
            self.counts[tenths as usize] += 1;
        }
    }

    /// Count, mean, sd, least, greatest, percentiles (linear between the neighbours, type 7 of
    /// Hyndman and Fan, Sample quantiles in statistical packages, 1996).
    fn figures(&self) -> Vec<f64> {
        let there = || {
            let tenths = self.counts.iter().enumerate();
            tenths
                .filter(|(_, count)| **count > 0)
                .map(|(at, count)| (at as f64 / 10.0, *count))
        };
        let count: u64 = there().map(|(_, count)| count).sum();
        let n = count as f64;
        let mean = there()
            .map(|(value, count)| value * count as f64)
            .sum::<f64>()
            / n;
        let squares: f64 = there()
            .map(|(value, count)| (value - mean).powi(2) * count as f64)
            .sum();
        let nth = |at: u64| {
            let mut below = 0;
            let found = there().find(|(_, count)| {
                below += count;
                below > at
            });
            found.map_or(f64::NAN, |(value, _)| value)
        };
        let share = |share: f64| {
            let at = share * (n - 1.0);
            let (low, high) = (nth(at.floor() as u64), nth(at.ceil() as u64));
            low + (high - low) * at.fract()
        };
        let sd = (squares / (n - 1.0)).sqrt();
        let mut figures = vec![n, mean, sd, nth(0), nth(count - 1)];
        figures.extend(SHARES.map(share));
        figures
    }
}

/// Mean, least and greatest of every hour.
#[derive(Default)]
struct Hours {
    present: Hour,
    /// When it ends.
    end_s: f64,
    /// How many there were, and the sums of what they had.
    sums: [f64; 4],
}

struct Hour {
    count: u32,
    sum: f64,
    least: f64,
    greatest: f64,
}

impl Default for Hour {
    fn default() -> Self {
        Self {
            count: 0,
            sum: 0.0,
            least: f64::INFINITY,
            greatest: f64::NEG_INFINITY,
        }
    }
}

impl Hours {
    fn add(&mut self, time_s: f64, value: f64) {
        if time_s >= self.end_s {
            self.close();
            self.end_s = ((time_s / 3600.0).floor() + 1.0) * 3600.0;
        }
        if !value.is_nan() {
            let hour = &mut self.present;
            hour.count += 1;
            hour.sum += value;
            hour.least = hour.least.min(value);
            hour.greatest = hour.greatest.max(value);
        }
    }

    fn close(&mut self) {
        let hour = std::mem::take(&mut self.present);
        if hour.count > 0 {
            let mean = hour.sum / f64::from(hour.count);
            let figures = [1.0, mean, hour.least, hour.greatest];
            for (sum, figure) in self.sums.iter_mut().zip(figures) {
                *sum += figure;
            }
        }
    }

    /// How many hours, and the means of their means, least and greatest.
    fn figures(mut self) -> Vec<f64> {
        self.close();
        let [count, sums @ ..] = self.sums;
        let mut figures = vec![count];
        figures.extend(sums.map(|sum| sum / count));
        figures
    }
}
