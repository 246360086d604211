//! What `measure` says to people: a list of the episodes, then each step's figures.

use std::io::{self, Write};

use chrono::SecondsFormat;

use super::measure::MeasuredLoop;
use super::{diagnosis_text, row_counts, wrapped};
use crate::analysis::{
    Episode, EpisodeKind, Note, OwnNumbers, StepNumbers, TuneOutcome, last_part_s,
};
use crate::figures::{amount, duration, fixed, spark};
use crate::record::LoopRecord;

/// Characters of the trend.
const TREND: usize = 48;
/// Where values begin.
const LABEL: usize = 20;
/// Where remarks begin, after that.
const VALUE: usize = 17;

/// One line of figures: what, how much, and what else to know.
struct Figure {
    label: String,
    value: String,
    remark: String,
}

/// Writes the list of episodes of every loop and the figures of what was done to it; with `all`, of
/// every episode.
pub(super) fn write(
    source: &str,
    loops: &[MeasuredLoop<'_>],
    all: bool,
    out: &mut dyn Write,
) -> io::Result<()> {
    for (index, measured) in loops.iter().enumerate() {
        if index > 0 {
            writeln!(out)?;
        }
        heading(source, measured.record, out)?;
        let when = |at_s| began(measured.record, at_s);
        diagnosis_text::write(&measured.diagnoses, &when, out)?;
        list(measured, out)?;
        for (number, episode) in &measured.episodes {
            if all || has_figures(episode.kind) {
                writeln!(out)?;
                figures(*number, episode, measured.record, out)?;
            }
        }
    }
    Ok(())
}

/// Whether its figures are shown unasked: not those of holds and of what disturbed them.
fn has_figures(kind: EpisodeKind) -> bool {
    use EpisodeKind::{Disturbance, Hold, Soak};
    !matches!(kind, Hold | Soak | Disturbance)
}

fn heading(source: &str, record: &LoopRecord, out: &mut dyn Write) -> io::Result<()> {
    row_counts::write(&record.name, source, record.rows, &record.bad_rows, out)?;
    trend(record, out)?;
    writeln!(out)
}

/// The process value over the whole record, with the least and the greatest.
fn trend(record: &LoopRecord, out: &mut dyn Write) -> io::Result<()> {
    let Some((first_s, last_s)) = record.time_s.first().zip(record.time_s.last()) else {
        return Ok(());
    };
    let mut sums = [(0.0, 0_u32); TREND];
    for (time_s, pv) in record.time_s.iter().zip(&record.pv) {
        let place = (time_s - first_s) / (last_s - first_s).max(f64::MIN_POSITIVE);
        let (sum, count) = &mut sums[((place * TREND as f64) as usize).min(TREND - 1)];
        *sum += pv;
        *count += 1;
    }
    let means = sums.map(|(sum, count)| (count > 0).then(|| sum / f64::from(count)));
    let least = record.pv.iter().copied().fold(f64::INFINITY, f64::min);
    let greatest = record.pv.iter().copied().fold(f64::NEG_INFINITY, f64::max);
    let unit = record.unit.as_deref().unwrap_or("degrees");
    writeln!(
        out,
        "{}  {} to {} {unit}",
        spark(&means),
        degrees(least),
        degrees(greatest)
    )
}

fn list(measured: &MeasuredLoop<'_>, out: &mut dyn Write) -> io::Result<()> {
    if measured.episodes.is_empty() {
        let help = "no episode was found; a step that the record does not show is named with \
                    --step-at and --target";
        return wrapped::write("", help, out);
    }
    writeln!(
        out,
        "{:>3}  {:<13}  {:<20}  {:<12}  {:>8}  {:>8}",
        "#", "episode", "began", "lasted", "from", "to"
    )?;
    for (number, episode) in &measured.episodes {
        writeln!(
            out,
            "{number:>3}  {:<13}  {:<20}  {:<12}  {:>8}  {:>8}",
            kind(episode.kind),
            began(measured.record, episode.start_s),
            duration(episode.end_s - episode.start_s),
            degrees_or_dash(episode.from),
            degrees_or_dash(episode.to),
        )?;
    }
    Ok(())
}

fn kind(kind: EpisodeKind) -> &'static str {
    match kind {
        EpisodeKind::SetpointStep => "setpoint step",
        EpisodeKind::OutputStep => "output step",
        EpisodeKind::Ramp => "ramp",
        EpisodeKind::Soak => "soak",
        EpisodeKind::Autotune => "autotune",
        EpisodeKind::Disturbance => "disturbance",
        EpisodeKind::Hold => "hold",
    }
}

/// Wall time to the second, or seconds where the record has only those.
fn began(record: &LoopRecord, time_s: f64) -> String {
    match record.wall_time(time_s) {
        Some(time) => time.to_rfc3339_opts(SecondsFormat::Secs, true),
        None => format!("{} s", fixed(time_s, 1)),
    }
}

fn degrees_or_dash(value: Option<f64>) -> String {
    value.map_or_else(|| "\u{2013}".to_owned(), degrees)
}

/// Degrees as a technician quotes them.
pub(super) fn degrees(value: f64) -> String {
    fixed(
        value,
        if value.abs() < 1.0 && value != 0.0 {
            2
        } else {
            1
        },
    )
}

fn figures(
    number: usize,
    episode: &Episode,
    record: &LoopRecord,
    out: &mut dyn Write,
) -> io::Result<()> {
    let unit = record.unit.as_deref().unwrap_or("degrees");
    writeln!(
        out,
        "{number}  {}, {} to {} {unit}, {}",
        kind(episode.kind),
        degrees_or_dash(episode.from),
        degrees_or_dash(episode.to),
        began(record, episode.start_s)
    )?;
    for figure in all_figures(episode, unit) {
        let Figure {
            label,
            value,
            remark,
        } = figure;
        let line = format!("   {label:<LABEL$}{value:<VALUE$}{remark}");
        writeln!(out, "{}", line.trim_end())?;
    }
    for text in note_texts(&episode.notes) {
        wrapped::write("   ", &text, out)?;
    }
    Ok(())
}

fn all_figures(episode: &Episode, unit: &str) -> Vec<Figure> {
    use EpisodeKind::{OutputStep, Ramp, SetpointStep};
    let numbers = &episode.numbers;
    let mut all = own_figures(&episode.own, unit);
    if matches!(episode.kind, SetpointStep | OutputStep | Ramp) {
        all.extend(response(numbers, episode.kind, unit));
    }
    all.extend(oscillation(numbers, unit));
    if let Some(error) = numbers.final_error {
        all.push(figure(
            "error at the end",
            &degrees_in(error, unit),
            &last_part(episode.end_s - episode.start_s),
        ));
    }
    all.extend(integrals(numbers, unit));
    all.extend(quality(numbers, unit));
    all
}

fn figure(label: &str, value: &str, remark: &str) -> Figure {
    Figure {
        label: label.to_owned(),
        value: value.to_owned(),
        remark: remark.to_owned(),
    }
}

fn degrees_in(value: f64, unit: &str) -> String {
    format!("{} {unit}", degrees(value))
}

/// Over what the error at the end is averaged.
fn last_part(length_s: f64) -> String {
    let part_s = last_part_s(length_s);
    if part_s >= length_s {
        return format!("mean of all of it, {}", duration(length_s));
    }
    format!("mean of the last {}", duration(part_s))
}

/// What only this kind has.
fn own_figures(own: &OwnNumbers, unit: &str) -> Vec<Figure> {
    let degrees_of =
        |label, value: Option<f64>, remark| Some(figure(label, &degrees_in(value?, unit), remark));
    let outcome = own.tune.outcome.map(|outcome| match outcome {
        TuneOutcome::Tuned => "tuned",
        TuneOutcome::Unchanged => "unchanged",
        TuneOutcome::Unknown => "not known",
    });
    let output = own.output.output_from.zip(own.output.output_to);
    let rate = own.ramp.rate_per_min;
    let per_min = rate.map(|rate| format!("{} {unit}/min", amount(rate)));
    let gain = own.tune.ultimate_gain.zip(own.tune.ultimate_period_s);
    [
        per_min.map(|rate| figure("rate", &rate, "")),
        degrees_of(
            "behind or ahead",
            own.ramp.following_mean,
            "mean over the ramp",
        ),
        degrees_of("  at most", own.ramp.following_max, ""),
        output.map(|(from, to)| {
            let value = format!("{} to {} %", fixed(from, 1), fixed(to, 1));
            figure("output", &value, "")
        }),
        outcome.map(|outcome| figure("outcome", outcome, "")),
        own.tune
            .cycles
            .map(|cycles| figure("cycles", &cycles.to_string(), "after the first")),
        gain.map(|(gain, period)| {
            let remark = format!("ultimate, at {}", duration(period));
            figure("gain", &format!("{} %/{unit}", amount(gain)), &remark)
        }),
        degrees_of("depth", own.disturbance.depth, "from the setpoint"),
        own.disturbance
            .return_s
            .map(|s| time("back in the band", Some(s))),
        degrees_of("spread", own.hold.sd, "standard deviation"),
        degrees_of("  peak to peak", own.hold.peak_to_peak, ""),
        own.hold.in_band_s.map(|s| time("within the band", Some(s))),
    ]
    .into_iter()
    .flatten()
    .collect()
}

/// What was asked first: how far over, how fast, when settled.
fn response(numbers: &StepNumbers, kind: EpisodeKind, unit: &str) -> Vec<Figure> {
    let dash = || "\u{2013}".to_owned();
    let overshoot = numbers
        .overshoot
        .map_or_else(dash, |over| degrees_in(over, unit));
    let mut of_step = Vec::new();
    if let Some(percent) = numbers.overshoot_pct {
        let whole = if kind == EpisodeKind::Ramp {
            "ramp"
        } else {
            "step"
        };
        of_step.push(format!("{} % of the {whole}", fixed(percent, 1)));
    }
    if let Some(peak) = numbers.peak_s {
        of_step.push(format!("peak at {}", duration(peak)));
    }
    let mut found = Vec::new();
    if let Some(initial) = numbers.initial {
        found.push(figure("began at", &degrees_in(initial, unit), ""));
    }
    found.push(figure("overshoot", &overshoot, &of_step.join(", ")));
    if let Some(smooth) = numbers.overshoot_smoothed {
        found.push(figure("  without noise", &degrees_in(smooth, unit), ""));
    }
    if kind != EpisodeKind::Ramp {
        found.push(time("rise 10 to 90 %", numbers.rise_s));
    }
    if let Some(band) = numbers.settling_band {
        let label = format!("settled within {}", degrees(band));
        found.push(time(&label, numbers.settling_s));
    }
    // Where the band is the 2 %, or makes no difference, once is enough.
    if numbers.settling_2pct_s != numbers.settling_s {
        found.push(time("settled within 2 %", numbers.settling_2pct_s));
    }
    found
}

fn time(label: &str, seconds: Option<f64>) -> Figure {
    match seconds {
        // Seconds to the tenth are all there is to say.
        Some(seconds @ 10.0..60.0) => figure(label, &format!("{} s", fixed(seconds, 1)), ""),
        Some(seconds @ ..10.0) => figure(label, &duration(seconds), ""),
        Some(seconds) => figure(
            label,
            &duration(seconds),
            &format!("{} s", fixed(seconds, 1)),
        ),
        None => figure(label, "\u{2013}", ""),
    }
}

fn oscillation(numbers: &StepNumbers, unit: &str) -> Vec<Figure> {
    let mut found = Vec::new();
    if let Some(period) = numbers.period_s {
        let decay = numbers.decay_ratio.map_or_else(String::new, |ratio| {
            format!("decay ratio {}", amount(ratio))
        });
        found.push(figure("oscillation", &duration(period), &decay));
    }
    if let Some(amplitude) = numbers.amplitude {
        let value = format!("\u{b1}{}", degrees_in(amplitude, unit));
        found.push(figure("  swings on by", &value, ""));
    }
    found
}

fn integrals(numbers: &StepNumbers, unit: &str) -> Vec<Figure> {
    let over = numbers
        .window_s
        .map_or_else(String::new, |window| format!("over {}", duration(window)));
    let all = [
        ("IAE", numbers.iae, "\u{b7}s"),
        ("ISE", numbers.ise, "\u{b2}\u{b7}s"),
        ("ITAE", numbers.itae, "\u{b7}s\u{b2}"),
        ("ITSE", numbers.itse, "\u{b2}\u{b7}s\u{b2}"),
    ];
    let line = |(label, value, power): (&str, Option<f64>, &str)| {
        let text = format!("{} {unit}{power}", amount(value?));
        Some(figure(
            label,
            &text,
            if label == "IAE" { &over } else { "" },
        ))
    };
    all.into_iter().filter_map(line).collect()
}

fn quality(numbers: &StepNumbers, unit: &str) -> Vec<Figure> {
    let noise = numbers.noise_sd.map(|sd| {
        let value = format!("{} {unit}", amount(sd));
        figure("noise", &value, "standard deviation")
    });
    let missing = numbers.missing_s.filter(|missing| *missing > 0.0);
    let missing = missing.map(|missing| figure("without samples", &duration(missing), ""));
    noise.into_iter().chain(missing).collect()
}

/// Notes that say the same of several numbers are one.
pub(super) fn note_texts(notes: &[Note]) -> Vec<String> {
    let mut told: Vec<(&Note, Vec<&str>)> = Vec::new();
    for note in notes.iter().filter(|note| !note.is_of_nothing()) {
        let about = note.about.trim_end_matches("_s");
        match told.iter_mut().find(|(known, _)| known.text == note.text) {
            Some((_, all)) => all.push(about),
            None => told.push((note, vec![about])),
        }
    }
    let text = |(note, about): (&Note, Vec<&str>)| match about[..] {
        [""] => format!("note: {}", note.text),
        _ => format!("note ({}): {}", about.join(", "), note.text),
    };
    told.into_iter().map(text).collect()
}
