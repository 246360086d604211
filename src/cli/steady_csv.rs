//! What `steady` writes for spreadsheets: one table.

use std::io::{self, Write};

use serde::Serialize;

use super::json_rows;
use super::steady::{SteadyLoop, Table};
use super::steady_json::{DayObject, Figures, excursions};
use crate::analysis::{Note, Steady};

/// A row of any table but the figures.
#[derive(Serialize)]
struct Row<'a, T> {
    #[serde(rename = "loop")]
    name: &'a str,
    #[serde(flatten)]
    row: T,
}

#[derive(Serialize)]
struct FiguresRow<'a> {
    #[serde(flatten)]
    figures: Figures<'a>,
    drift_low: Option<f64>,
    drift_high: Option<f64>,
    output_mean: Option<f64>,
    output_sd: Option<f64>,
    output_drift_per_day: Option<f64>,
    cycle_period_s: Option<f64>,
    cycle_amplitude: Option<f64>,
    relay_operations_per_day: Option<f64>,
    relay_life_days: Option<f64>,
    notes: &'a [Note],
}

impl<'a> FiguresRow<'a> {
    fn of(one: &'a SteadyLoop) -> Self {
        let steady: &Steady = &one.steady;
        let interval = steady.drift.and_then(|it| it.ci95);
        Self {
            figures: Figures::of(one),
            drift_low: interval.map(|it| it[0]),
            drift_high: interval.map(|it| it[1]),
            output_mean: steady.output.map(|it| it.mean),
            output_sd: steady.output.and_then(|it| it.sd),
            output_drift_per_day: steady.output.and_then(|it| it.drift).map(|it| it.per_day),
            cycle_period_s: steady.cycle.map(|it| it.period_s),
            cycle_amplitude: steady.cycle.map(|it| it.amplitude),
            relay_operations_per_day: steady.relay.map(|it| it.operations_per_day),
            relay_life_days: steady.relay.and_then(|it| it.life_days),
            notes: &steady.notes,
        }
    }
}

/// Writes the table of all loops, one below the other.
pub(super) fn write(table: Table, loops: &[SteadyLoop], out: &mut dyn Write) -> io::Result<()> {
    match table {
        Table::Figures => json_rows::write(loops.iter().map(FiguresRow::of), out),
        Table::Days => {
            let of = |one: &SteadyLoop| one.steady.days.iter().map(DayObject::of).collect();
            rows(loops, of, out)
        }
        Table::Hours => rows(loops, |one| one.steady.hours.clone(), out),
        Table::Excursions => rows(loops, |one| excursions(one).collect(), out),
        Table::Allan => rows(loops, |one| one.steady.allan.clone(), out),
    }
}

fn rows<T: Serialize>(
    loops: &[SteadyLoop],
    of: impl Fn(&SteadyLoop) -> Vec<T>,
    out: &mut dyn Write,
) -> io::Result<()> {
    let all = loops.iter().flat_map(|one| {
        let named = |row| Row {
            name: one.name.as_str(),
            row,
        };
        of(one).into_iter().map(named)
    });
    json_rows::write(all, out)
}
