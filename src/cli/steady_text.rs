//! What `steady` says to people: each loop's figures, then the loops side by side.

use std::io::{self, Write};

use chrono::SecondsFormat;

use super::measure_text::{degrees, note_texts};
use super::steady::SteadyLoop;
use super::{diagnosis_text, row_counts, steady_tables, wrapped};
use crate::analysis::{Drift, Steady};
use crate::figures::{amount, duration, fixed};

/// Where values begin.
const LABEL: usize = 20;
/// Where remarks begin, after that.
const VALUE: usize = 19;

/// Writes every loop, and the differences between several.
pub(super) fn write(source: &str, loops: &[SteadyLoop], out: &mut dyn Write) -> io::Result<()> {
    for (index, one) in loops.iter().enumerate() {
        if index > 0 {
            writeln!(out)?;
        }
        heading(source, one, out)?;
        let when = |at_s| when(one, at_s);
        diagnosis_text::write(&one.steady.diagnoses, &when, out)?;
        if one.steady.count > 0 {
            figures(one, out)?;
            steady_tables::write(one, out)?;
        }
        for text in note_texts(&one.steady.notes) {
            wrapped::write("   ", &text, out)?;
        }
    }
    steady_tables::side_by_side(loops, out)
}

fn heading(source: &str, one: &SteadyLoop, out: &mut dyn Write) -> io::Result<()> {
    row_counts::write(&one.name, source, one.rows.rows, &one.rows.bad, out)?;
    let steady = &one.steady;
    if steady.count > 0 {
        let around = steady.around.map_or_else(String::new, |around| {
            format!(" around {} {}", degrees(around), unit(one))
        });
        let left_out = match steady.excluded_s {
            excluded @ 1.0.. => format!("; {} do not", long(excluded)),
            _ => String::new(),
        };
        let text = format!("{}{around} count{left_out}", long(steady.counted_s));
        wrapped::write("", &text, out)?;
    }
    writeln!(out)
}

pub(super) fn unit(one: &SteadyLoop) -> &str {
    one.unit.as_deref().unwrap_or("degrees")
}

/// A time; from two days on in days.
pub(super) fn long(seconds: f64) -> String {
    const DAY_S: f64 = 86_400.0;
    if seconds < 2.0 * DAY_S {
        return duration(seconds);
    }
    format!("{} days", fixed(seconds / DAY_S, 1))
}

/// A difference with its sign.
pub(super) fn signed(value: f64, decimals: usize) -> String {
    let text = fixed(value, decimals);
    let is_above = value > 0.0 && text.chars().any(|c| ('1'..='9').contains(&c));
    if is_above { format!("+{text}") } else { text }
}

/// Decimals that show two digits of a small number.
fn decimals_of(size: f64) -> usize {
    let size = size.abs();
    if size == 0.0 {
        return 1;
    }
    if size < 1e-6 {
        return 7;
    }
    (1.0 - size.log10().floor()).clamp(1.0, 7.0) as usize
}

fn line(label: &str, value: &str, remark: &str, out: &mut dyn Write) -> io::Result<()> {
    let text = format!("   {label:<LABEL$}{value:<VALUE$}{remark}");
    writeln!(out, "{}", text.trim_end())
}

fn figures(one: &SteadyLoop, out: &mut dyn Write) -> io::Result<()> {
    let (steady, unit) = (&one.steady, unit(one));
    spread(steady, unit, out)?;
    band(steady, out)?;
    if let Some(drift) = steady.drift {
        let [value, interval] = slope(drift);
        line("drift a day", &format!("{value} {unit}"), &interval, out)?;
        if let Some(amplitude) = drift.daily_amplitude {
            let value = format!("\u{b1}{} {unit}", amount(amplitude));
            line("  day and night", &value, "fitted beside the drift", out)?;
        }
    } else if steady.count > 2 && steady.counted_s > 0.0 {
        line("drift a day", "\u{2013}", "the record is too short", out)?;
    }
    output(steady, out)?;
    match steady.cycle {
        Some(cycle) => {
            let swing = format!("\u{b1}{} {unit}", amount(cycle.amplitude));
            line("cycle", &duration(cycle.period_s), &swing, out)?;
        }
        None if steady.count > 1 => line("cycle", "none", "that stands above the noise", out)?,
        None => {}
    }
    if steady.missing_s > 0.0 {
        line("without samples", &long(steady.missing_s), "", out)?;
    }
    relay(steady, out)?;
    allan(steady, unit, out)
}

fn spread(steady: &Steady, unit: &str, out: &mut dyn Write) -> io::Result<()> {
    if let Some(mean) = steady.mean {
        let off = steady.around.map_or_else(String::new, |around| {
            let off = mean - around;
            format!(
                "{} from {}",
                signed(off, decimals_of(off).clamp(2, 3)),
                degrees(around)
            )
        });
        line("mean", &format!("{} {unit}", fixed(mean, 2)), &off, out)?;
    }
    if let Some(sd) = steady.sd {
        let lag1 = steady.lag1.map_or_else(String::new, |lag1| {
            format!("neighbours correlate by {}", fixed(lag1, 2))
        });
        line(
            "standard deviation",
            &format!("{} {unit}", amount(sd)),
            &lag1,
            out,
        )?;
    }
    let all = [
        ("all of it", steady.min, steady.max, "least to greatest"),
        (
            "98 % of it",
            steady.p01,
            steady.p99,
            "1st to 99th percentile",
        ),
        (
            "90 % of it",
            steady.p05,
            steady.p95,
            "5th to 95th percentile",
        ),
    ];
    for (label, low, high, remark) in all {
        if let Some((low, high)) = low.zip(high) {
            let value = format!("{} to {}", degrees(low), degrees(high));
            line(label, &value, remark, out)?;
        }
    }
    if let Some(median) = steady.p50 {
        line("median", &format!("{} {unit}", degrees(median)), "", out)?;
    }
    Ok(())
}

fn band(steady: &Steady, out: &mut dyn Write) -> io::Result<()> {
    let (Some(band), Some(inside)) = (steady.band, steady.in_band_pct) else {
        return Ok(());
    };
    let count = steady.excursion_count;
    let times = match count {
        0 => "never outside".to_owned(),
        1 => "once outside".to_owned(),
        _ => format!("{} times outside", fixed(count as f64, 0)),
    };
    // Less than everything must not look like everything.
    let decimals = (1..5).find(|d| inside >= 100.0 || fixed(inside, *d) != fixed(100.0, *d));
    let value = format!("{} %", fixed(inside, decimals.unwrap_or(5)));
    line(
        &format!("in band \u{b1}{}", degrees(band)),
        &value,
        &times,
        out,
    )
}

/// The slope and its interval, with the digits that the interval leaves certain.
fn slope(drift: Drift) -> [String; 2] {
    let Some([low, high]) = drift.ci95 else {
        let value = signed(drift.per_day, decimals_of(drift.per_day));
        return [value, "uncertain: the record is too short".to_owned()];
    };
    let decimals = decimals_of(0.5 * (high - low));
    let number = |value: f64| signed(value, decimals);
    let interval = format!("95 %: {} to {}", number(low), number(high));
    [number(drift.per_day), interval]
}

fn output(steady: &Steady, out: &mut dyn Write) -> io::Result<()> {
    let Some(output) = steady.output else {
        return Ok(());
    };
    let sd = output.sd.map_or_else(String::new, |sd| {
        format!("standard deviation {} %", amount(sd))
    });
    line("output", &format!("{} %", fixed(output.mean, 1)), &sd, out)?;
    if let Some(drift) = output.drift {
        let [value, interval] = slope(drift);
        line("  its drift a day", &format!("{value} %"), &interval, out)?;
    }
    Ok(())
}

fn relay(steady: &Steady, out: &mut dyn Write) -> io::Result<()> {
    let Some(relay) = steady.relay else {
        return Ok(());
    };
    let share = format!("switching {} % of the time", fixed(relay.switching_pct, 1));
    let value = format!("{} a day", fixed(relay.operations_per_day, 0));
    line("relay operations", &value, &share, out)?;
    if let Some(days) = relay.life_days {
        let value = format!("{} days", fixed(days, 0));
        let years = match days / 365.25 {
            years @ 1.0.. => format!("{} years at this rate", amount(years)),
            _ => "at this rate".to_owned(),
        };
        line("  its life", &value, &years, out)?;
    }
    let what = "an operation is one make and one break: one in every cycle time while the output is \
                strictly between 0 and 100 %, over the whole record";
    wrapped::write("     ", what, out)
}

/// Every other octave, on lines that fit.
fn allan(steady: &Steady, unit: &str, out: &mut dyn Write) -> io::Result<()> {
    // A single difference or two say nothing to a person.
    let told = steady.allan.iter().filter(|it| it.n >= 4).step_by(2);
    let all: Vec<String> = told
        .map(|it| {
            let time = duration(it.tau_s).replace(' ', "\u{a0}");
            format!("{time}:\u{a0}{}", amount(it.adev))
        })
        .collect();
    if all.is_empty() {
        return Ok(());
    }
    let text = format!(
        "Allan deviation in {unit} by averaging time: {}",
        all.join(", ")
    );
    wrapped::write("   ", &text, out)
}

/// Wall time to the second, or seconds where the record has only those.
pub(super) fn when(one: &SteadyLoop, time_s: f64) -> String {
    match one.wall_time(time_s) {
        Some(time) => time.to_rfc3339_opts(SecondsFormat::Secs, true),
        None => format!("{} s", fixed(time_s, 1)),
    }
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn nothing_has_no_row_of_zeros() {
        let still = Drift {
            per_day: 0.0,
            ci95: Some([0.0, 0.0]),
            daily_amplitude: None,
        };
        assert_eq!(slope(still), ["0.0", "95 %: 0.0 to 0.0"]);
        assert_eq!(signed(0.0123, decimals_of(0.0123)), "+0.012");
    }
}
