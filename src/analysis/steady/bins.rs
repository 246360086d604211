//! The record in bounded memory: every sample, or, of long records, means over even lengths of time.

/// So many at most: three days of seconds as they are, a year as means over 128 s.
const MOST: usize = 1 << 18;

/// Some samples that follow each other.
#[derive(Clone, Copy, Debug, Default, PartialEq)]
pub(super) struct Bin {
    pub(super) count: u32,
    /// How many of them have an output.
    pub(super) outputs: u32,
    /// Sums.
    time: f64,
    value: f64,
    output: f64,
}

impl Bin {
    pub(super) fn time_s(&self) -> f64 {
        self.time / f64::from(self.count)
    }

    pub(super) fn value(&self) -> f64 {
        self.value / f64::from(self.count)
    }

    /// NaN where there is none.
    pub(super) fn output(&self) -> f64 {
        self.output / f64::from(self.outputs)
    }

    fn merge(&mut self, other: &Self) {
        self.count += other.count;
        self.outputs += other.outputs;
        self.time += other.time;
        self.value += other.value;
        self.output += other.output;
    }
}

/// All bins.
#[derive(Clone, Debug, Default)]
pub(super) struct Bins {
    all: Vec<Bin>,
    /// Their length; 0 while every sample is one.
    width_s: f64,
    /// Where the last one ends.
    ends_s: f64,
    period_s: f64,
}

impl Bins {
    pub(super) fn new(period_s: f64) -> Self {
        Self {
            ends_s: f64::NEG_INFINITY,
            period_s,
            ..Self::default()
        }
    }

    pub(super) fn add(&mut self, times: &[f64], values: &[f64], outputs: &[f64]) {
        for ((time, value), output) in times.iter().zip(values).zip(outputs) {
            let one = Bin {
                count: 1,
                outputs: u32::from(!output.is_nan()),
                time: *time,
                value: *value,
                output: if output.is_nan() { 0.0 } else { *output },
            };
            match self.all.last_mut() {
                Some(last) if *time < self.ends_s => last.merge(&one),
                _ => self.push(one),
            }
        }
    }

    fn push(&mut self, one: Bin) {
        if self.all.len() == MOST {
            self.widen();
        }
        if self.width_s > 0.0 {
            self.ends_s = ((one.time / self.width_s).floor() + 1.0) * self.width_s;
        }
        self.all.push(one);
    }

    /// Twice as long, as often as it takes to have half of them.
    fn widen(&mut self) {
        // A record with all its times the same has no period.
        let least = self.period_s.max(1e-9);
        while self.all.len() > MOST / 2 {
            self.width_s = (2.0 * self.width_s).max(2.0 * least);
            let cell = |bin: &Bin| (bin.time_s() / self.width_s).floor();
            self.all.dedup_by(|next, kept| {
                let same = cell(next).total_cmp(&cell(kept)).is_eq();
                if same {
                    kept.merge(next);
                }
                same
            });
        }
    }

    pub(super) fn all(&self) -> &[Bin] {
        &self.all
    }

    /// The usual distance between them.
    pub(super) fn spacing_s(&self) -> f64 {
        self.width_s.max(self.period_s)
    }

    /// Whether every bin is a sample.
    pub(super) fn are_samples(&self) -> bool {
        self.width_s <= 0.0
    }
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn a_long_record_becomes_means_over_even_lengths_of_time() {
        let mut bins = Bins::new(1.0);
        let times: Vec<f64> = (0..2_000_000).map(f64::from).collect();
        bins.add(&times, &times, &vec![f64::NAN; times.len()]);
        assert!(bins.all().len() <= MOST && bins.all().len() > MOST / 2);
        assert!(
            (bins.spacing_s() - 8.0).abs() < 1e-9,
            "{}",
            bins.spacing_s()
        );
        let counted: u64 = bins.all().iter().map(|bin| u64::from(bin.count)).sum();
        assert_eq!(counted, 2_000_000);
        let odd = |bin: &&Bin| bin.count != 8 || (bin.value() - bin.time_s()).abs() > 1e-6;
        assert_eq!(bins.all().iter().find(odd), None);
    }
}
