//! The values of one moment, and the extremes of a run of them.

/// The three trended values at one time; NaN where one is missing.
#[derive(Clone, Copy, Debug, PartialEq)]
pub struct Point {
    /// Seconds since the screen's clock began.
    pub at_s: f64,
    /// Process value in the loop's unit.
    pub pv: f32,
    /// Setpoint in the same unit.
    pub setpoint: f32,
    /// Output in percent.
    pub output: f32,
}

/// One value over a run of samples.
///
/// `first` and `last` are NaN where that very sample lacks the value, so that a line is never drawn
/// across a gap; `min` and `max` are NaN only where every sample lacks it.
#[derive(Clone, Copy, Debug, PartialEq)]
pub struct Span {
    /// At the first sample.
    pub first: f32,
    /// At the last sample.
    pub last: f32,
    /// The smallest.
    pub min: f32,
    /// The largest.
    pub max: f32,
}

/// The three trended values over a run of samples.
#[derive(Clone, Copy, Debug, PartialEq)]
pub struct Summary {
    /// Process value.
    pub pv: Span,
    /// Setpoint.
    pub setpoint: Span,
    /// Output.
    pub output: Span,
    /// Whether a sample lacks its process value.
    pub is_broken: bool,
}

impl Span {
    /// A run of one.
    pub fn of(value: f32) -> Self {
        Self {
            first: value,
            last: value,
            min: value,
            max: value,
        }
    }

    /// This run followed by another.
    #[must_use]
    pub fn then(self, next: Self) -> Self {
        // `f32::min` and `f32::max` pass NaN over.
        Self {
            first: self.first,
            last: next.last,
            min: self.min.min(next.min),
            max: self.max.max(next.max),
        }
    }
}

impl Summary {
    /// A run of one.
    pub fn of(point: &Point) -> Self {
        Self {
            pv: Span::of(point.pv),
            setpoint: Span::of(point.setpoint),
            output: Span::of(point.output),
            is_broken: point.pv.is_nan(),
        }
    }

    /// This run followed by another.
    #[must_use]
    pub fn then(self, next: Self) -> Self {
        Self {
            pv: self.pv.then(next.pv),
            setpoint: self.setpoint.then(next.setpoint),
            output: self.output.then(next.output),
            is_broken: self.is_broken || next.is_broken,
        }
    }
}

/// One run after the other, where either may be empty.
pub(super) fn join(left: Option<Summary>, right: Option<Summary>) -> Option<Summary> {
    match (left, right) {
        (Some(left), Some(right)) => Some(left.then(right)),
        (one, None) | (None, one) => one,
    }
}
