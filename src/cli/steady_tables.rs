//! The tables of `steady` for people: excursions, days, hours of the day, loops side by side.

use std::io::{self, Write};

use super::measure_text::degrees;
use super::steady::SteadyLoop;
use super::steady_json::date;
use super::steady_text::{long, signed, unit, when};
use super::wrapped;
use crate::analysis::{Excursion, HourRow, RowFigures};
use crate::figures::{amount, fixed, spark};

/// So many excursions are listed: the farthest.
const EXCURSIONS: usize = 5;
/// So many days: the last.
const DAYS: usize = 14;
/// More days than this are shown as a trend, too; fewer make none.
const TREND_FROM: usize = 3;
/// Hours of the day say something from so many on.
const HOURS_FROM: usize = 12;

/// The tables of one loop.
pub(super) fn write(one: &SteadyLoop, out: &mut dyn Write) -> io::Result<()> {
    excursions(one, out)?;
    hours(one, out)?;
    days(one, out)?;
    writeln!(out)
}

fn excursions(one: &SteadyLoop, out: &mut dyn Write) -> io::Result<()> {
    let all = &one.steady.excursions;
    if all.is_empty() {
        return Ok(());
    }
    let mut farthest: Vec<&Excursion> = all.iter().collect();
    farthest.sort_by(|a, b| b.peak.abs().total_cmp(&a.peak.abs()));
    farthest.truncate(EXCURSIONS);
    farthest.sort_by(|a, b| a.start_s.total_cmp(&b.start_s));
    let heading = if all.len() > farthest.len() {
        "farthest outside the band"
    } else {
        "outside the band"
    };
    writeln!(out)?;
    writeln!(out, "   {heading:<28}{:<14}{:>9}", "for", "by")?;
    for it in farthest {
        writeln!(
            out,
            "   {:<28}{:<14}{:>9}",
            when(one, it.start_s),
            long(it.duration_s),
            signed(it.peak, 2)
        )?;
    }
    Ok(())
}

/// The hours of the day as a trend of their means.
fn hours(one: &SteadyLoop, out: &mut dyn Write) -> io::Result<()> {
    let hours = &one.steady.hours;
    if hours.len() < HOURS_FROM {
        return Ok(());
    }
    let mean = |hour: u8| {
        hours
            .iter()
            .find(|it| it.hour == hour)
            .map(|it| it.figures.mean)
    };
    let means: Vec<Option<f64>> = (0..24).map(mean).collect();
    let by_mean = |a: &&HourRow, b: &&HourRow| a.figures.mean.total_cmp(&b.figures.mean);
    let ends = hours
        .iter()
        .min_by(by_mean)
        .zip(hours.iter().max_by(by_mean));
    let Some((coolest, warmest)) = ends else {
        return Ok(());
    };
    writeln!(out)?;
    writeln!(
        out,
        "   hours 0 to 23, UTC   {}  {} at {} to {} at {}",
        spark(&means),
        fixed(coolest.figures.mean, 2),
        coolest.hour,
        fixed(warmest.figures.mean, 2),
        warmest.hour
    )
}

fn days(one: &SteadyLoop, out: &mut dyn Write) -> io::Result<()> {
    let days = &one.steady.days;
    if days.len() < 2 {
        return Ok(());
    }
    writeln!(out)?;
    if days.len() > TREND_FROM {
        let means = || days.iter().map(|it| it.figures.mean);
        writeln!(
            out,
            "   daily means  {}  {} to {}",
            spark(&trend(one)),
            fixed(means().fold(f64::INFINITY, f64::min), 2),
            fixed(means().fold(f64::NEG_INFINITY, f64::max), 2)
        )?;
    }
    if days.len() > DAYS {
        writeln!(
            out,
            "   the last {DAYS} of {} days; --csv=days has all",
            days.len()
        )?;
    }
    writeln!(
        out,
        "   {:<10}  {:>9}  {:>7}  {:>8}  {:>8}  {:>9}  {:>8}",
        "day (UTC)", "mean", "sd", "least", "greatest", "in band", "output"
    )?;
    let percent = |value: Option<f64>| value.map_or_else(dash, |it| format!("{} %", fixed(it, 1)));
    for day in &days[days.len().saturating_sub(DAYS)..] {
        let RowFigures {
            mean, sd, min, max, ..
        } = day.figures;
        writeln!(
            out,
            "   {:<10}  {:>9}  {:>7}  {:>8}  {:>8}  {:>9}  {:>8}",
            date(day.day),
            fixed(mean, 2),
            sd.map_or_else(dash, amount),
            degrees(min),
            degrees(max),
            percent(day.figures.in_band_pct),
            percent(day.figures.output_mean),
        )?;
    }
    Ok(())
}

fn dash() -> String {
    "\u{2013}".to_owned()
}

/// The daily means, of several days together where there are many.
fn trend(one: &SteadyLoop) -> Vec<Option<f64>> {
    const WIDTH: i64 = 48;
    let days = &one.steady.days;
    let Some((first, last)) = days.first().zip(days.last()) else {
        return Vec::new();
    };
    let span = last.day - first.day + 1;
    let together = (span + WIDTH - 1) / WIDTH;
    let mut sums = vec![(0.0, 0.0); ((span + together - 1) / together) as usize];
    for it in days {
        let (sum, count) = &mut sums[((it.day - first.day) / together) as usize];
        *sum += it.figures.mean * it.figures.count as f64;
        *count += it.figures.count as f64;
    }
    let mean = |(sum, count): (f64, f64)| (count > 0.0).then(|| sum / count);
    sums.into_iter().map(mean).collect()
}

/// The loops' means and how they differ; nothing for a single loop.
pub(super) fn side_by_side(loops: &[SteadyLoop], out: &mut dyn Write) -> io::Result<()> {
    let known: Vec<(&SteadyLoop, f64)> = loops
        .iter()
        .filter_map(|one| Some((one, one.steady.mean?)))
        .collect();
    let [(first, first_mean), others @ ..] = &known[..] else {
        return Ok(());
    };
    if others.is_empty() {
        return Ok(());
    }
    writeln!(out)?;
    let against = format!("to {}", shortened(&first.name, 14));
    writeln!(
        out,
        "{:<20}  {:>9}  {:>8}  {:>7}  {:>8}  {:>17}",
        "loops side by side", "mean", "sd", "around", "off it", against
    )?;
    for (one, mean) in &known {
        let steady = &one.steady;
        let is_same = unit(one) == unit(first);
        writeln!(
            out,
            "{:<20}  {:>9}  {:>8}  {:>7}  {:>8}  {:>17}",
            shortened(&one.name, 20),
            fixed(*mean, 2),
            steady.sd.map_or_else(dash, amount),
            steady.around.map_or_else(dash, degrees),
            steady
                .around
                .map_or_else(dash, |around| signed(mean - around, 2)),
            if is_same {
                signed(mean - first_mean, 2)
            } else {
                dash()
            }
        )?;
    }
    let what = "These are the control sensors, each at its own place. Whether a chamber is uniform they \
                cannot say: that takes independent sensors.";
    wrapped::write("", what, out)
}

fn shortened(name: &str, most: usize) -> String {
    if name.chars().count() <= most {
        return name.to_owned();
    }
    name.chars().take(most - 1).chain(['\u{2026}']).collect()
}
