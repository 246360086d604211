//! Before and after as a table for people.

use std::io::{self, Write};

use super::wrapped;
use crate::analysis::StepNumbers;
use crate::evidence::Comparison;
use crate::figures::{duration, fixed};
use crate::record::RecordedSetting;

/// Writes the numbers that matter, two columns, and the verdict in words.
pub(super) fn write(comparison: &Comparison<'_>, out: &mut dyn Write) -> io::Result<()> {
    let unit = comparison.after.record.unit.as_deref().unwrap_or_default();
    let (before, after) = (
        &comparison.before.episode.numbers,
        &comparison.after.episode.numbers,
    );
    let (from, to) = (comparison.after.episode.from, comparison.after.episode.to);
    let step = from
        .zip(to)
        .map(|(from, to)| format!("{} -> {} {unit}", fixed(from, 1), fixed(to, 1)));
    writeln!(
        out,
        "{:<28}{:>18}{:>18}",
        step.unwrap_or_default(),
        "before",
        "after"
    )?;
    let mut row = |name: &str, cell: &dyn Fn(&StepNumbers) -> String| {
        writeln!(out, "  {name:<26}{:>18}{:>18}", cell(before), cell(after))
    };
    row(&format!("overshoot, {unit}"), &|it| amount(it.overshoot, 1))?;
    row("settling time", &|it| time(it.settling_s, it.window_s))?;
    row(&format!("IAE, {unit}.s"), &|it| amount(it.iae, 0))?;
    row("rise time, 10 to 90 %", &|it| time(it.rise_s, it.window_s))?;
    row(&format!("final error, {unit}"), &|it| {
        amount(it.final_error, 1)
    })?;
    let band = after.settling_band.map_or_else(String::new, |band| {
        format!("; settled is within {} {unit}", fixed(band, 1))
    });
    let window = after.window_s.map_or_else(String::new, |window| {
        format!("integrals over {}", duration(window))
    });
    writeln!(out, "  {window}{band}")?;
    for (name, old, new) in tuning_changes(comparison) {
        writeln!(out, "  {name:<26}{old:>18}{new:>18}")?;
    }
    let judgement = comparison.judge();
    let verdict = format!("{} {}", judgement.verdict.words(), judgement.reason());
    wrapped::write("", &verdict, out)?;
    for obstacle in &judgement.obstacles {
        wrapped::write("  ", &obstacle.text, out)?;
    }
    Ok(())
}

fn amount(value: Option<f64>, decimals: usize) -> String {
    value.map_or_else(|| "----".to_owned(), |value| fixed(value, decimals))
}

fn time(seconds: Option<f64>, window_s: Option<f64>) -> String {
    match (seconds, window_s) {
        (Some(seconds), _) => duration(seconds),
        (None, Some(window)) => format!("not in {}", duration(window)),
        (None, None) => "----".to_owned(),
    }
}

/// Name, value at the step before and value at the step after, of the tuning points that differ.
fn tuning_changes(comparison: &Comparison<'_>) -> Vec<(String, String, String)> {
    let at = |settings: &[RecordedSetting], point: &str, time_s: f64| {
        let known = |it: &&RecordedSetting| it.time_s <= time_s && it.point == point;
        settings.iter().rfind(known).map(|it| it.value.clone())
    };
    let settings = &comparison.after.record.settings;
    let mut changes = Vec::new();
    for setting in settings
        .iter()
        .filter(|it| matches!(it.role.as_str(), "proportional" | "integral" | "derivative"))
    {
        let name = format!("{} {}", setting.point, setting.unit);
        let old = at(
            &comparison.before.record.settings,
            &setting.point,
            comparison.before.episode.start_s,
        );
        let new = at(settings, &setting.point, comparison.after.episode.start_s);
        if let (Some(old), Some(new)) = (old, new)
            && changes.iter().all(|(known, _, _)| *known != name)
        {
            changes.push((name, old, new));
        }
    }
    changes
}
