//! The numbers of the present episode, as they form.

use crate::analysis::{Episode, EpisodeKind, Options, StepNumbers, Trace, find_episodes};
use crate::figures::{duration, fixed};

use super::watched::Watched;
use super::words::{number, signed};

/// So much before an episode is looked at too: the process value it starts from is a mean of the
/// last minute.
const LEAD_IN_S: f64 = 180.0;
/// Where nothing has changed, a hold of at most this is judged.
const HOLD_S: f64 = 3600.0;
/// The numbers of a step stand long before this.
const LONGEST_S: f64 = 12.0 * 3600.0;

/// Something that is measured, in words.
#[derive(Clone, Debug, PartialEq, Eq)]
pub(super) struct Figure {
    pub(super) label: &'static str,
    pub(super) value: String,
    /// What may be left out where room is short.
    pub(super) more: String,
}

/// The present episode in words.
#[derive(Clone, Debug, PartialEq, Eq)]
pub(super) struct Present {
    pub(super) title: String,
    pub(super) figures: Vec<Figure>,
}

/// Measures the present episode: the latest step, ramp or autotune, else the hold.
///
/// `None` before there is anything to judge. It takes time in proportion to the episode's length;
/// [`next_due_s`] says when it is worth it again.
pub(super) fn measure(watched: &Watched, now_s: f64) -> Option<Episode> {
    let from_s = match begins_s(watched) {
        Some(began_s) => began_s - LEAD_IN_S,
        None => now_s - HOLD_S,
    };
    let record = watched.history.record(from_s, watched.decimals());
    let trace = Trace {
        time_s: &record.time_s,
        pv: &record.pv,
        setpoint: Some(&record.setpoint),
        output: Some(&record.output),
        autotune: Some(&record.autotune),
    };
    let options = Options {
        band: watched.facts.band,
        ..Options::default()
    };
    let found = find_episodes(&trace, &options).ok()?;
    let has_cause = |episode: &&Episode| {
        use EpisodeKind::{Disturbance, Hold, Soak};
        !matches!(episode.kind, Hold | Soak | Disturbance)
    };
    let chosen = found.iter().rfind(has_cause).or(found.last())?;
    Some(chosen.clone())
}

/// When the numbers are worth working out again; `None` once they stand.
pub(super) fn next_due_s(watched: &Watched, now_s: f64) -> Option<f64> {
    let lasted_s = now_s - begins_s(watched).unwrap_or(now_s - HOLD_S);
    (lasted_s < LONGEST_S).then_some(now_s + (lasted_s / 200.0).max(1.0))
}

fn begins_s(watched: &Watched) -> Option<f64> {
    let tuned = watched.history.tunes().last().map(|(began_s, _)| *began_s);
    match (watched.moved_s, tuned) {
        (Some(moved_s), Some(tuned_s)) => Some(moved_s.max(tuned_s)),
        (one, other) => one.or(other),
    }
}

/// An episode in words, with the time of day at which it began.
pub(super) fn in_words(episode: &Episode, began: &str, unit: &str, decimals: u32) -> Present {
    let value = |value: Option<f64>| value.map_or("?".to_owned(), |v| number(v, decimals));
    let title = match episode.kind {
        EpisodeKind::SetpointStep | EpisodeKind::Ramp => {
            let what = if episode.kind == EpisodeKind::Ramp {
                "ramp"
            } else {
                "step"
            };
            format!("{what} {} → {}", value(episode.from), value(episode.to))
        }
        EpisodeKind::Autotune => format!("autotune at {}", value(episode.to)),
        EpisodeKind::OutputStep => "step of the output".to_owned(),
        EpisodeKind::Disturbance => "disturbance".to_owned(),
        EpisodeKind::Hold | EpisodeKind::Soak => format!("hold at {}", value(episode.to)),
    };
    // A hold is judged over what is shown of it, wherever it began.
    let title = match episode.kind {
        EpisodeKind::Hold | EpisodeKind::Soak => title,
        _ => format!("{began} {title}"),
    };
    let numbers = &episode.numbers;
    let figures = match episode.kind {
        EpisodeKind::SetpointStep => of_step(numbers, unit, decimals),
        _ => of_others(numbers, unit, decimals),
    };
    Present { title, figures }
}

fn figure(label: &'static str, value: String, more: String) -> Figure {
    Figure { label, value, more }
}

fn of_step(numbers: &StepNumbers, unit: &str, decimals: u32) -> Vec<Figure> {
    let mut figures = Vec::new();
    match numbers.overshoot {
        Some(overshoot) => {
            let percent = numbers.overshoot_pct.map_or(String::new(), |percent| {
                format!(" ({} %)", fixed(percent, 0))
            });
            let more = format!("{unit}{percent}");
            figures.push(figure("overshoot", number(overshoot, decimals), more));
        }
        None => figures.push(figure(
            "overshoot",
            "not there yet".to_owned(),
            String::new(),
        )),
    }
    let band = numbers.settling_band.map_or(String::new(), |band| {
        format!("within ±{}", number(band, decimals))
    });
    match numbers.settling_s {
        Some(settled_s) => figures.push(figure("settled", duration(settled_s), band)),
        None => figures.push(figure("settled", "not yet".to_owned(), band)),
    }
    if let Some(iae) = numbers.iae {
        figures.push(figure("IAE", fixed(iae, 0), format!("{unit} s")));
    }
    if let Some(peak_s) = numbers.peak_s {
        figures.push(figure(
            "peak",
            duration(peak_s.round()),
            "after it".to_owned(),
        ));
    }
    if let Some(rise_s) = numbers.rise_s {
        figures.push(figure("rise", duration(rise_s), "10 to 90 %".to_owned()));
    }
    if let Some(settled_s) = numbers.settling_2pct_s {
        figures.push(figure(
            "settled",
            duration(settled_s),
            "within 2 %".to_owned(),
        ));
    }
    if let Some(period_s) = numbers.period_s {
        figures.push(figure(
            "period",
            duration(period_s),
            "between peaks".to_owned(),
        ));
    }
    if let Some(ratio) = numbers.decay_ratio {
        let more = "peak to peak".to_owned();
        figures.push(figure("decay", fixed(ratio, 2), more));
    }
    figures.extend(missing(numbers));
    figures
}

fn of_others(numbers: &StepNumbers, unit: &str, decimals: u32) -> Vec<Figure> {
    let mut figures = Vec::new();
    if let Some(window_s) = numbers.window_s {
        figures.push(figure("for", duration(window_s.round()), String::new()));
    }
    if let Some(period_s) = numbers.period_s {
        figures.push(figure(
            "period",
            duration(period_s),
            "of a swing".to_owned(),
        ));
    }
    if let Some(amplitude) = numbers.amplitude {
        let value = format!("±{}", number(amplitude, decimals));
        figures.push(figure("amplitude", value, unit.to_owned()));
    }
    if let Some(error) = numbers.final_error {
        let value = signed(error, decimals + 1);
        figures.push(figure("mean error", value, unit.to_owned()));
    }
    if let Some(noise) = numbers.noise_sd.filter(|_| numbers.final_error.is_some()) {
        figures.push(figure(
            "noise",
            fixed(noise, decimals as usize + 1),
            unit.to_owned(),
        ));
    }
    figures.extend(missing(numbers));
    figures
}

fn missing(numbers: &StepNumbers) -> Option<Figure> {
    let missing_s = numbers.missing_s.filter(|missing_s| *missing_s > 0.0)?;
    Some(figure(
        "missing",
        duration(missing_s.round()),
        "without data".to_owned(),
    ))
}
