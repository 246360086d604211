//! What `steady` says to programs.

use std::io::{self, Write};

use chrono::{DateTime, SecondsFormat};
use serde::Serialize;

use super::steady::SteadyLoop;
use crate::analysis::{
    AllanPoint, Cycle, DayRow, Diagnosis, Drift, Excursion, HourRow, Note, Relay, RowFigures,
    Steady,
};

#[derive(Serialize)]
struct Document<'a> {
    source: &'a str,
    loops: Vec<LoopObject<'a>>,
}

#[derive(Serialize)]
struct LoopObject<'a> {
    #[serde(flatten)]
    figures: Figures<'a>,
    drift_ci95: Option<[f64; 2]>,
    output: Option<OutputObject>,
    cycle: Option<Cycle>,
    relay: Option<Relay>,
    excursions: Vec<ExcursionObject>,
    allan: &'a [AllanPoint],
    hours: &'a [HourRow],
    days: Vec<DayObject>,
    diagnosis: &'a [Diagnosis],
    notes: &'a [Note],
}

/// What is one number each.
#[derive(Serialize)]
pub(super) struct Figures<'a> {
    #[serde(rename = "loop")]
    name: &'a str,
    unit: Option<&'a str>,
    count: u64,
    counted_s: f64,
    missing_s: f64,
    excluded_s: f64,
    period_s: f64,
    around: Option<f64>,
    band: Option<f64>,
    mean: Option<f64>,
    sd: Option<f64>,
    min: Option<f64>,
    max: Option<f64>,
    p01: Option<f64>,
    p05: Option<f64>,
    p50: Option<f64>,
    p95: Option<f64>,
    p99: Option<f64>,
    lag1: Option<f64>,
    in_band_pct: Option<f64>,
    excursion_count: u64,
    drift_per_day: Option<f64>,
    daily_amplitude: Option<f64>,
}

#[derive(Serialize)]
struct OutputObject {
    mean: f64,
    sd: Option<f64>,
    drift_per_day: Option<f64>,
    drift_ci95: Option<[f64; 2]>,
    daily_amplitude: Option<f64>,
}

#[derive(Serialize)]
pub(super) struct ExcursionObject {
    start: Option<String>,
    #[serde(flatten)]
    excursion: Excursion,
}

#[derive(Serialize)]
pub(super) struct DayObject {
    day: String,
    #[serde(flatten)]
    figures: RowFigures,
}

/// Writes one document.
pub(super) fn write(source: &str, loops: &[SteadyLoop], out: &mut dyn Write) -> io::Result<()> {
    let document = Document {
        source,
        loops: loops.iter().map(LoopObject::of).collect(),
    };
    serde_json::to_writer(&mut *out, &document)?;
    writeln!(out)
}

impl<'a> LoopObject<'a> {
    fn of(one: &'a SteadyLoop) -> Self {
        let steady = &one.steady;
        Self {
            figures: Figures::of(one),
            drift_ci95: steady.drift.and_then(|it| it.ci95),
            output: output(steady),
            cycle: steady.cycle,
            relay: steady.relay,
            excursions: excursions(one).collect(),
            allan: &steady.allan,
            hours: &steady.hours,
            days: steady.days.iter().map(DayObject::of).collect(),
            diagnosis: &steady.diagnoses,
            notes: &steady.notes,
        }
    }
}

fn output(steady: &Steady) -> Option<OutputObject> {
    let output = steady.output?;
    let drift: Option<Drift> = output.drift;
    Some(OutputObject {
        mean: output.mean,
        sd: output.sd,
        drift_per_day: drift.map(|it| it.per_day),
        drift_ci95: drift.and_then(|it| it.ci95),
        daily_amplitude: drift.and_then(|it| it.daily_amplitude),
    })
}

/// The times outside the band.
pub(super) fn excursions(one: &SteadyLoop) -> impl Iterator<Item = ExcursionObject> {
    one.steady.excursions.iter().map(|it| ExcursionObject {
        start: one
            .wall_time(it.start_s)
            .map(|time| time.to_rfc3339_opts(SecondsFormat::Millis, true)),
        excursion: *it,
    })
}

impl<'a> Figures<'a> {
    pub(super) fn of(one: &'a SteadyLoop) -> Self {
        let steady = &one.steady;
        Self {
            name: &one.name,
            unit: one.unit.as_deref(),
            count: steady.count,
            counted_s: steady.counted_s,
            missing_s: steady.missing_s,
            excluded_s: steady.excluded_s,
            period_s: steady.period_s,
            around: steady.around,
            band: steady.band,
            mean: steady.mean,
            sd: steady.sd,
            min: steady.min,
            max: steady.max,
            p01: steady.p01,
            p05: steady.p05,
            p50: steady.p50,
            p95: steady.p95,
            p99: steady.p99,
            lag1: steady.lag1,
            in_band_pct: steady.in_band_pct,
            excursion_count: steady.excursion_count,
            drift_per_day: steady.drift.map(|it| it.per_day),
            daily_amplitude: steady.drift.and_then(|it| it.daily_amplitude),
        }
    }
}

impl DayObject {
    pub(super) fn of(row: &DayRow) -> Self {
        Self {
            day: date(row.day),
            figures: row.figures,
        }
    }
}

/// A day as `2027-03-04`; empty beyond all calendars.
pub(super) fn date(day: i64) -> String {
    let midnight = day
        .checked_mul(86_400)
        .and_then(|s| DateTime::from_timestamp(s, 0));
    midnight.map_or_else(String::new, |time| time.format("%Y-%m-%d").to_string())
}
