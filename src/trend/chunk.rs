//! A short run of samples, packed.

use std::ops::Range;

use super::summary::{Point, Summary, join};

/// How many samples a chunk holds at most.
const LENGTH: usize = 256;
/// Times inside a chunk are counted in steps of 1/128 s, so that they fit 16 bits.
const STEPS_PER_S: f64 = 128.0;

/// Up to 256 samples of at most 512 s: 2 bytes of time each, 4 for each value that changes.
#[derive(Clone, Debug)]
pub(super) struct Chunk {
    start_s: f64,
    steps: Vec<u16>,
    pv: Column,
    setpoint: Column,
    output: Column,
    summary: Summary,
}

/// One value of every sample of a chunk.
#[derive(Clone, Debug)]
enum Column {
    /// The same in all of them.
    Same(f32),
    /// One each.
    Each(Vec<f32>),
}

impl Chunk {
    /// A chunk that begins with this sample.
    pub(super) fn beginning_with(point: &Point) -> Self {
        Self {
            start_s: point.at_s,
            steps: vec![0],
            pv: Column::Same(point.pv),
            setpoint: Column::Same(point.setpoint),
            output: Column::Same(point.output),
            summary: Summary::of(point),
        }
    }

    /// Adds a sample, unless the chunk is full or the sample too late for it.
    pub(super) fn push(&mut self, point: &Point) -> bool {
        let step = (point.at_s - self.start_s) * STEPS_PER_S;
        if self.steps.len() == LENGTH || step > f64::from(u16::MAX) {
            return false;
        }
        let known = self.steps.len();
        self.steps.push(step.max(0.0) as u16);
        self.pv.push(point.pv, known);
        self.setpoint.push(point.setpoint, known);
        self.output.push(point.output, known);
        self.summary = self.summary.then(Summary::of(point));
        true
    }

    /// Gives back memory that a full chunk does not need.
    pub(super) fn seal(&mut self) {
        self.steps.shrink_to_fit();
        self.pv.seal();
        self.setpoint.seal();
        self.output.seal();
    }

    pub(super) fn len(&self) -> usize {
        self.steps.len()
    }

    pub(super) fn start_s(&self) -> f64 {
        self.start_s
    }

    pub(super) fn end_s(&self) -> f64 {
        self.start_s + f64::from(self.steps.last().copied().unwrap_or(0)) / STEPS_PER_S
    }

    pub(super) fn summary(&self) -> Summary {
        self.summary
    }

    /// The sample at an index below [`len`](Self::len).
    pub(super) fn point(&self, index: usize) -> Point {
        Point {
            at_s: self.start_s + f64::from(self.steps[index]) / STEPS_PER_S,
            pv: self.pv.at(index),
            setpoint: self.setpoint.at(index),
            output: self.output.at(index),
        }
    }

    /// The indexes of the samples from `from_s` on and before `to_s`.
    pub(super) fn between(&self, from_s: f64, to_s: f64) -> Range<usize> {
        self.first_from(from_s)..self.first_from(to_s)
    }

    /// The summary of some samples.
    pub(super) fn over(&self, range: Range<usize>) -> Option<Summary> {
        range.fold(None, |sum, i| join(sum, Some(Summary::of(&self.point(i)))))
    }

    fn first_from(&self, time_s: f64) -> usize {
        self.steps
            .partition_point(|step| self.start_s + f64::from(*step) / STEPS_PER_S < time_s)
    }
}

impl Column {
    fn push(&mut self, value: f32, known: usize) {
        match self {
            // By bits, so that missing stays the same as missing.
            Self::Same(same) if same.to_bits() == value.to_bits() => {}
            Self::Same(same) => {
                let mut each = vec![*same; known];
                each.push(value);
                *self = Self::Each(each);
            }
            Self::Each(each) => each.push(value),
        }
    }

    fn seal(&mut self) {
        if let Self::Each(each) = self {
            each.shrink_to_fit();
        }
    }

    fn at(&self, index: usize) -> f32 {
        match self {
            Self::Same(same) => *same,
            Self::Each(each) => each[index],
        }
    }
}
