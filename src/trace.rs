//! The samples an analysis works on.

/// One loop's good samples as parallel slices; borrowed, so that plain arrays will do.
#[derive(Clone, Copy, Debug)]
pub struct Trace<'a> {
    /// Seconds, never decreasing; any origin.
    pub time_s: &'a [f64],
    /// Process value in the loop's unit, finite.
    pub pv: &'a [f64],
    /// Setpoint in the same unit; NaN where it is missing.
    pub setpoint: Option<&'a [f64]>,
    /// Output in percent; NaN where it is missing.
    pub output: Option<&'a [f64]>,
    /// Whether an autotune was under way.
    pub autotune: Option<&'a [bool]>,
}
