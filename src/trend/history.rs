//! Everything the screen remembers of one loop.

use crate::roles::Roles;
use crate::sample::{Event, Happening, Sample};

use super::chunk::Chunk;
use super::pyramid::Pyramid;
use super::summary::{Point, Summary, join};

/// A silence longer than this many poll intervals is a gap, even if nobody wrote a row for it.
const GAP_INTERVALS: f64 = 2.5;

/// One loop's samples and events since the screen opened.
///
/// A week at one second takes under 8 MB. Times are seconds since the clock began, kept to 1/128 s.
#[derive(Clone, Debug)]
pub struct History {
    every_s: f64,
    chunks: Vec<Chunk>,
    /// Over all chunks but the last, which still grows.
    pyramid: Pyramid,
    tunes: Vec<(f64, Option<f64>)>,
    moments: Vec<Moment>,
}

/// Something that happened, where the trend shows it.
#[derive(Clone, Debug, PartialEq)]
pub struct Moment {
    /// Seconds since the clock began.
    pub at_s: f64,
    /// What.
    pub what: Happening,
    /// A sentence for people.
    pub text: String,
}

/// A stretch of time, cut into columns of equal width.
#[derive(Clone, Debug, PartialEq)]
pub struct Columns {
    /// The last sample before the stretch, where the line comes from.
    pub before: Option<Point>,
    /// The samples of each column; `None` where there is none.
    pub columns: Vec<Option<Summary>>,
    /// The first sample after the stretch, where the line goes to.
    pub after: Option<Point>,
}

/// A stretch of samples with a process value as parallel columns, as the analysis takes them.
#[derive(Clone, Debug, Default, PartialEq)]
pub struct Record {
    /// Seconds since the clock began, never decreasing.
    pub time_s: Vec<f64>,
    /// Process value.
    pub pv: Vec<f64>,
    /// Setpoint; NaN where a sample lacks it.
    pub setpoint: Vec<f64>,
    /// Output in percent; NaN where a sample lacks it.
    pub output: Vec<f64>,
    /// Whether an autotune was under way.
    pub autotune: Vec<bool>,
}

impl History {
    /// An empty history of a loop that is polled every so many seconds.
    pub fn new(every_s: f64) -> Self {
        Self {
            every_s,
            chunks: Vec::new(),
            pyramid: Pyramid::default(),
            tunes: Vec::new(),
            moments: Vec::new(),
        }
    }

    /// Takes a sample in; they come in the order of time.
    pub fn take(&mut self, roles: &Roles, sample: &Sample) {
        let or_nan = |value: Option<f64>| value.map_or(f32::NAN, |v| v as f32);
        let at_s = sample.stamp.elapsed.as_secs_f64();
        self.note_autotune(at_s, roles.autotune(sample));
        self.push(Point {
            at_s,
            pv: or_nan(roles.pv(sample)),
            setpoint: or_nan(roles.setpoint(sample)),
            output: or_nan(roles.output(sample)),
        });
    }

    /// Takes an event in.
    pub fn note(&mut self, event: &Event) {
        self.moments.push(Moment {
            at_s: event.stamp.elapsed.as_secs_f64(),
            what: event.what,
            text: event.text.clone(),
        });
    }

    /// Adds one moment; NaN is missing. A time before the last one counts as the last one's.
    pub fn push(&mut self, mut point: Point) {
        if let Some(last) = self.last() {
            point.at_s = point.at_s.max(last.at_s);
            if point.at_s - last.at_s > GAP_INTERVALS * self.every_s {
                self.append(&gap(last.at_s + self.every_s));
            }
        }
        self.append(&point);
    }

    /// The first and the last time, if there is any.
    pub fn extent(&self) -> Option<(f64, f64)> {
        Some((self.chunks.first()?.start_s(), self.chunks.last()?.end_s()))
    }

    /// The latest sample.
    pub fn last(&self) -> Option<Point> {
        let chunk = self.chunks.last()?;
        Some(chunk.point(chunk.len() - 1))
    }

    /// `count` columns of `width_s` seconds from `from_s` on; a column owns its left edge.
    pub fn columns(&self, from_s: f64, width_s: f64, count: usize) -> Columns {
        let edge = |i: usize| from_s + i as f64 * width_s;
        Columns {
            before: self.before(from_s),
            columns: (0..count)
                .map(|i| self.over(edge(i), edge(i + 1)))
                .collect(),
            after: self.from(edge(count)),
        }
    }

    /// The extremes of the samples from `from_s` on and before `to_s`.
    pub fn over(&self, from_s: f64, to_s: f64) -> Option<Summary> {
        let first = self.chunks.partition_point(|chunk| chunk.end_s() < from_s);
        let end = self.chunks.partition_point(|chunk| chunk.start_s() < to_s);
        if first >= end {
            return None;
        }
        let part = |i: usize| {
            let chunk: &Chunk = &self.chunks[i];
            chunk.over(chunk.between(from_s, to_s))
        };
        if end - first == 1 {
            return part(first);
        }
        // Whole chunks lie between the two that are cut.
        let middle = self.pyramid.over(first + 1..end - 1);
        join(join(part(first), middle), part(end - 1))
    }

    /// The samples with a process value from `from_s` to `to_s`, both included.
    pub fn between(&self, from_s: f64, to_s: f64) -> impl Iterator<Item = Point> {
        let first = self.chunks.partition_point(|chunk| chunk.end_s() < from_s);
        let chunks = self.chunks[first..].iter();
        let chunks = chunks.take_while(move |chunk| chunk.start_s() <= to_s);
        chunks
            .flat_map(move |chunk| {
                chunk
                    .between(from_s, f64::INFINITY)
                    .map(|i| chunk.point(i))
                    .take_while(move |point| point.at_s <= to_s)
            })
            .filter(|point| !point.pv.is_nan())
    }

    /// The sample nearest in time.
    pub fn nearest(&self, time_s: f64) -> Option<Point> {
        match (self.before(time_s), self.from(time_s)) {
            (Some(left), Some(right)) if time_s - left.at_s < right.at_s - time_s => Some(left),
            (left, right) => right.or(left),
        }
    }

    /// When autotunes began and ended; one that is under way has no end.
    pub fn tunes(&self) -> &[(f64, Option<f64>)] {
        &self.tunes
    }

    /// What happened, oldest first.
    pub fn moments(&self) -> &[Moment] {
        &self.moments
    }

    /// The samples with a process value from `from_s` on, rounded to `decimals` as they came.
    pub fn record(&self, from_s: f64, decimals: u32) -> Record {
        let mut record = Record::default();
        let first = self.chunks.partition_point(|chunk| chunk.end_s() < from_s);
        for chunk in &self.chunks[first..] {
            let from = chunk.between(from_s, f64::INFINITY);
            for point in from.map(|i| chunk.point(i)).filter(|p| !p.pv.is_nan()) {
                record.time_s.push(point.at_s);
                record.pv.push(rounded(point.pv, decimals));
                record.setpoint.push(rounded(point.setpoint, decimals));
                record.output.push(rounded(point.output, 2));
                record.autotune.push(self.was_tuning(point.at_s));
            }
        }
        record
    }

    fn was_tuning(&self, at_s: f64) -> bool {
        let after = self.tunes.partition_point(|(began, _)| *began <= at_s);
        after > 0 && self.tunes[after - 1].1.is_none_or(|ended| at_s < ended)
    }

    fn note_autotune(&mut self, at_s: f64, active: Option<bool>) {
        let under_way = self.tunes.last_mut().filter(|(_, ended)| ended.is_none());
        match (under_way, active) {
            (None, Some(true)) => self.tunes.push((at_s, None)),
            (Some(tune), Some(false)) => tune.1 = Some(at_s),
            _ => {}
        }
    }

    fn append(&mut self, point: &Point) {
        if let Some(open) = self.chunks.last_mut() {
            if open.push(point) {
                return;
            }
            open.seal();
            let full = open.summary();
            self.pyramid.push(full);
        }
        self.chunks.push(Chunk::beginning_with(point));
    }

    /// The last sample before a time.
    fn before(&self, time_s: f64) -> Option<Point> {
        let chunk = self.chunks.partition_point(|c| c.start_s() < time_s);
        let chunk = &self.chunks[chunk.checked_sub(1)?];
        Some(chunk.point(chunk.between(f64::NEG_INFINITY, time_s).end - 1))
    }

    /// The first sample at or after a time.
    fn from(&self, time_s: f64) -> Option<Point> {
        let chunk = self.chunks.partition_point(|c| c.end_s() < time_s);
        let chunk = self.chunks.get(chunk)?;
        Some(chunk.point(chunk.between(time_s, f64::INFINITY).start))
    }
}

fn gap(at_s: f64) -> Point {
    Point {
        at_s,
        pv: f32::NAN,
        setpoint: f32::NAN,
        output: f32::NAN,
    }
}

/// The decimal that came from the controller, without the binary tail of its 32-bit copy.
fn rounded(value: f32, decimals: u32) -> f64 {
    let factor = 10_f64.powi(decimals.cast_signed());
    (f64::from(value) * factor).round() / factor
}

#[cfg(test)]
#[path = "history_tests.rs"]
mod tests;
