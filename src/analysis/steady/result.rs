//! What there is to know about a steady stretch.

use super::super::diagnosis::Diagnosis;
use super::super::episode::Note;

/// What a person may say about a record.
#[derive(Clone, Debug, Default, PartialEq)]
pub struct SteadyOptions {
    /// Half-width of the band, in the loop's unit; above 0. Without one there is no time in band.
    pub band: Option<f64>,
    /// Everything counts, around this value; without it only holds count, around their setpoint.
    pub around: Option<f64>,
    /// Smallest change of the setpoint that ends a hold until the loop has settled again; `None` is
    /// 1 degree, or three times the noise where that is more.
    pub min_step: Option<f64>,
    /// Period over which a switched output is turned on and off in proportion, seconds, above 0.
    pub cycle_time_s: Option<f64>,
    /// Operations that the relay is made for, above 0.
    pub relay_life: Option<f64>,
    /// Times of other changes that end a hold, in the samples' seconds, ascending: of mode or tuning.
    pub other_changes_s: Vec<f64>,
    /// Wall time: from this second on, seconds since 1970 (UTC) are `time_s` plus the second number.
    /// Ascending; empty where it is not known.
    pub wall: Vec<(f64, f64)>,
}

/// One sample that is pushed.
#[derive(Clone, Copy, Debug, PartialEq)]
pub struct SteadySample {
    /// Seconds, never decreasing; any origin.
    pub time_s: f64,
    /// Process value; a sample without a finite one is as good as none.
    pub pv: f64,
    /// Setpoint in the same unit; NaN where it is missing: then the last one known is in force.
    pub setpoint: f64,
    /// Output in percent; NaN where it is missing.
    pub output: f64,
    /// Whether an autotune was under way.
    pub autotune: bool,
}

/// How steady a loop was. Temperatures in the loop's unit, times in seconds. `None`: cannot be had,
/// and a note says why.
///
/// Where more than one setpoint was held, every process value is moved by [`around`](Self::around)
/// minus the setpoint then in force, as if that one had been held all the time.
#[derive(Clone, Debug, Default, PartialEq)]
pub struct Steady {
    /// Samples that count.
    pub count: u64,
    /// Time that counts: from the first to the last sample of every hold.
    pub counted_s: f64,
    /// Of it, without good samples: intervals longer than 1.5 periods, in full. Integrals and time in
    /// band bridge them by a straight line.
    pub missing_s: f64,
    /// Time between the record's first and last sample that does not count.
    pub excluded_s: f64,
    /// Usual interval between samples: the median of the first 32,768; 0 for fewer than two samples.
    pub period_s: f64,
    /// The value around which it was held: the one asked for, else the setpoint longest in force.
    pub around: Option<f64>,
    /// Half-width of the band.
    pub band: Option<f64>,
    /// Mean of the samples.
    pub mean: Option<f64>,
    /// Standard deviation of the samples, divisor n - 1.
    pub sd: Option<f64>,
    /// Least.
    pub min: Option<f64>,
    /// Greatest.
    pub max: Option<f64>,
    /// Percentiles by linear interpolation between the neighbours (type 7 of Hyndman and Fan, Sample
    /// quantiles in statistical packages, The American Statistician 50, 1996). Exact for up to 65,536
    /// different values, as a controller's decimals give them; else within 0.1 % of rank.
    pub p01: Option<f64>,
    /// As [`p01`](Self::p01).
    pub p05: Option<f64>,
    /// As [`p01`](Self::p01).
    pub p50: Option<f64>,
    /// As [`p01`](Self::p01).
    pub p95: Option<f64>,
    /// As [`p01`](Self::p01).
    pub p99: Option<f64>,
    /// Autocorrelation of neighbouring samples: the sum of (x_i - m)(x_i+1 - m) over the sum of
    /// (x_i - m)^2 (NIST Statistical Reference Datasets), neighbours across a gap left out.
    pub lag1: Option<f64>,
    /// Part of the counted time in which the straight lines between samples are inside the band.
    pub in_band_pct: Option<f64>,
    /// Times outside the band in the order they began; at most the 1,000 farthest.
    pub excursions: Vec<Excursion>,
    /// How many there were in all.
    pub excursion_count: u64,
    /// Slope per day, with its interval.
    pub drift: Option<Drift>,
    /// The output in the same time.
    pub output: Option<SteadyOutput>,
    /// The dominant cycle.
    pub cycle: Option<Cycle>,
    /// Allan deviation at octave spaced averaging times.
    pub allan: Vec<AllanPoint>,
    /// One row for each hour of the day (UTC) over the whole record; hours without samples are left
    /// out. Empty where wall time is not known.
    pub hours: Vec<HourRow>,
    /// One row for each UTC day with samples. Empty where wall time is not known.
    pub days: Vec<DayRow>,
    /// The wear of the output's relay.
    pub relay: Option<Relay>,
    /// What it looks like; dangers first. They are looked for in the whole record, not only in holds.
    pub diagnoses: Vec<Diagnosis>,
    /// What must be known to trust the numbers.
    pub notes: Vec<Note>,
}

/// One time outside the band.
#[derive(Clone, Copy, Debug, PartialEq, serde::Serialize)]
pub struct Excursion {
    /// When the line left the band, interpolated at its edge, or where the hold began outside.
    pub start_s: f64,
    /// Until it came back, or the hold ended.
    pub duration_s: f64,
    /// Where it was farthest, as the difference from the value it was held around: above is positive.
    pub peak: f64,
}

/// A slope by least squares, fitted together with a daily cycle (a sine of 24 h) when the samples
/// that count span two days or more.
///
/// The 95 % interval is Student's, with the number of samples cut down to the effective one,
/// n (1 - r)/(1 + r), r the lag-1 autocorrelation of the residuals. Sensor noise hides a slow wander
/// from neighbouring samples, so the same is done for means over 2, 4, 8 ... samples as long as 64
/// are left, and the widest interval is given. Of more than 262,144 samples means over even lengths of
/// time take their place.
#[derive(Clone, Copy, Debug, PartialEq)]
pub struct Drift {
    /// Per day.
    pub per_day: f64,
    /// Lower and upper end of the 95 % interval; `None` where too few samples are independent.
    pub ci95: Option<[f64; 2]>,
    /// Amplitude of the daily cycle that was fitted beside it.
    pub daily_amplitude: Option<f64>,
}

/// The output while the process value was held.
#[derive(Clone, Copy, Debug, PartialEq)]
pub struct SteadyOutput {
    /// Mean in percent.
    pub mean: f64,
    /// Standard deviation, divisor n - 1; `None` of a single sample.
    pub sd: Option<f64>,
    /// Slope in percent per day.
    pub drift: Option<Drift>,
}

/// The period whose peak in the averaged periodogram stands above the noise at 99 %.
///
/// Welch's method (IEEE Transactions on Audio and Electroacoustics 15, 1967): Hann windows over
/// half-overlapping segments of 4,096 samples, each without its trend, and of means over 4, 16, 64 ...
/// samples for longer periods; the longest unbroken stretch where it is shorter. The noise at a
/// frequency is read from a straight line through the logarithms of its neighbours from a third to
/// three times that frequency; a peak has to pass the level that chance passes once in a hundred
/// records, and twice the noise. Of several peaks the one with the largest amplitude counts. It must
/// go round seven times in the segment. Up to ten missing samples are bridged by a straight line.
#[derive(Clone, Copy, Debug, PartialEq, serde::Serialize)]
pub struct Cycle {
    /// Its period, that of the sine that fits best.
    pub period_s: f64,
    /// Amplitude (half peak to peak) of sines fitted to each segment, root mean square.
    pub amplitude: f64,
}

/// The Allan deviation at one averaging time.
#[derive(Clone, Copy, Debug, PartialEq, serde::Serialize)]
pub struct AllanPoint {
    /// Averaging time: so many periods.
    pub tau_s: f64,
    /// Root of half the mean square of the difference between means over neighbouring stretches of
    /// this length.
    pub adev: f64,
    /// How many differences.
    pub n: u64,
}

/// An hour of the day over the whole record.
#[derive(Clone, Copy, Debug, PartialEq, serde::Serialize)]
pub struct HourRow {
    /// Hour of the day, UTC: 6 is from 06:00 to 07:00.
    pub hour: u8,
    /// Its figures.
    #[serde(flatten)]
    pub figures: RowFigures,
}

/// A day of the record.
#[derive(Clone, Copy, Debug, PartialEq)]
pub struct DayRow {
    /// Days since 1970-01-01, UTC.
    pub day: i64,
    /// Its figures.
    pub figures: RowFigures,
}

/// The figures of a row.
#[derive(Clone, Copy, Debug, PartialEq, serde::Serialize)]
pub struct RowFigures {
    /// Samples that count.
    pub count: u64,
    /// Mean.
    pub mean: f64,
    /// Standard deviation, divisor n - 1; `None` of a single sample.
    pub sd: Option<f64>,
    /// Least.
    pub min: f64,
    /// Greatest.
    pub max: f64,
    /// Part of the time inside the band.
    pub in_band_pct: Option<f64>,
    /// Mean of the output in percent.
    pub output_mean: Option<f64>,
}

/// How much a relay or contactor on a time-proportioned output works: one operation, a make and a
/// break, in every cycle time while the output is strictly between 0 and 100 %.
///
/// Over the whole record, not only its holds: the relay works then, too.
#[derive(Clone, Copy, Debug, PartialEq, serde::Serialize)]
pub struct Relay {
    /// Part of the time with the output strictly between 0 and 100 %.
    pub switching_pct: f64,
    /// Operations a day at that rate.
    pub operations_per_day: f64,
    /// How long the life that was given lasts at that rate; `None` without one, or without operations.
    pub life_days: Option<f64>,
}
