//! Ranks of very many different values in little memory.

/// Values of one level, at most. With this many the rank of no value is off by more than 0.1 % for
/// 2^47 values, and by 0.04 % for a year of seconds.
const ROOM: usize = 1 << 15;

/// Values that stand for others: those of level l for 2^l each. A level that is full is sorted, and
/// every other value goes to the next level, the first or the second of each pair in turn. One such
/// halving moves no rank by more than one value of its level, so that n values end with an error of at
/// most n/32,768 for each level there is.
///
/// Source: Munro and Paterson, Selection and sorting with limited storage, Theoretical Computer
/// Science 12, 1980.
#[derive(Clone, Debug, Default)]
pub(super) struct Sketch {
    levels: Vec<Level>,
}

#[derive(Clone, Debug, Default)]
struct Level {
    values: Vec<f64>,
    takes_second: bool,
}

impl Sketch {
    /// One value.
    pub(super) fn add(&mut self, value: f64) {
        self.put(0, value);
    }

    /// A value that was there so many times.
    pub(super) fn add_times(&mut self, value: f64, times: u64) {
        let is_there = |level: &usize| times >> level & 1 == 1;
        for level in (0..64).filter(is_there) {
            self.put(level, value);
        }
    }

    fn put(&mut self, level: usize, value: f64) {
        if self.levels.len() <= level {
            self.levels.resize_with(level + 1, Level::default);
        }
        let here = &mut self.levels[level];
        here.values.push(value);
        if here.values.len() == ROOM {
            self.halve(level);
        }
    }

    fn halve(&mut self, level: usize) {
        let here = &mut self.levels[level];
        let mut values = std::mem::take(&mut here.values);
        values.sort_unstable_by(f64::total_cmp);
        let first = usize::from(here.takes_second);
        here.takes_second = !here.takes_second;
        for value in values.iter().skip(first).step_by(2) {
            self.put(level + 1, *value);
        }
        values.clear();
        self.levels[level].values = values;
    }

    /// All values with how many each stands for, not sorted.
    pub(super) fn weighted(&self) -> Vec<(f64, u64)> {
        let levels = self.levels.iter().enumerate();
        let of = |(level, it): (usize, &Level)| {
            let values = it.values.clone().into_iter();
            values.map(move |value| (value, 1_u64 << level))
        };
        levels.flat_map(of).collect()
    }
}
