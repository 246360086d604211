//! What a loop is doing now, in a sentence.

use crate::map::Meaning;
use crate::sample::{Reading, State, Why};

use super::watched::Watched;
use super::words::{lasting, number, signed};

/// What a loop is doing now.
#[derive(Clone, Debug, PartialEq, Eq)]
pub(super) struct Doing {
    /// A sentence without the loop's name.
    pub(super) text: String,
    /// What may be said below it where there is room; often empty.
    pub(super) more: String,
    /// How it is to be taken.
    pub(super) tone: Tone,
}

/// How a sentence is to be taken; greater needs a person sooner.
#[derive(Clone, Copy, Debug, PartialEq, Eq, PartialOrd, Ord)]
pub(super) enum Tone {
    /// As it should be.
    Calm,
    /// On its way.
    Moving,
    /// The controller is tuning itself.
    Tuning,
    /// Not where it should be.
    Off,
    /// Nothing is known.
    Unknown,
    /// Something is broken.
    Trouble,
}

/// A slower change than this a minute is called steady.
const STEADY_PER_MIN: f64 = 0.25;
/// Polls may be late by so many intervals before silence is called silence.
const SILENT_INTERVALS: f64 = 3.0;

/// What a loop is doing at `now_s`.
pub(super) fn doing(watched: &Watched, now_s: f64) -> Doing {
    let Some(latest) = &watched.latest else {
        return say(Tone::Unknown, "waiting for the first answer");
    };
    let heard_s = latest.stamp.elapsed.as_secs_f64();
    let silent_s = now_s - heard_s;
    if silent_s > SILENT_INTERVALS * watched.facts.every.as_secs_f64() + 2.0 {
        let text = format!("nothing heard for {}", lasting(silent_s));
        return say(Tone::Unknown, text);
    }
    match latest.state {
        State::Absent(why) => absent(why, now_s - watched.state_since_s),
        State::Faulty => faulty(watched),
        State::Good | State::Partial => controlling(watched, now_s),
    }
}

fn say(tone: Tone, text: impl Into<String>) -> Doing {
    Doing {
        text: text.into(),
        more: String::new(),
        tone,
    }
}

/// The same, and where the process value is going.
fn say_moving(tone: Tone, text: impl Into<String>, watched: &Watched) -> Doing {
    Doing {
        more: slope(watched).unwrap_or_default(),
        ..say(tone, text)
    }
}

fn absent(why: Why, lasted_s: f64) -> Doing {
    let lasted = lasting(lasted_s);
    let text = match why {
        Why::NoAnswer => format!("no answer for {lasted}"),
        Why::Damaged => format!("only damaged answers for {lasted}"),
        Why::Refused(code) => format!("the controller refuses (exception {code:02}) for {lasted}"),
        Why::Foreign => format!("only other units answer, for {lasted}"),
        Why::Skipped => format!("the line has no time for it, for {lasted}"),
        Why::PortLost => format!("port lost for {lasted}, trying again"),
        Why::NotRunning => format!("not polled for {lasted}"),
    };
    say(Tone::Trouble, text)
}

fn faulty(watched: &Watched) -> Doing {
    let reading = watched
        .latest
        .as_ref()
        .and_then(|sample| sample.readings.get(watched.facts.roles.pv));
    let meaning = match reading {
        Some(Reading::Fault(fault)) => fault.meaning.to_string(),
        _ => "sensor fault".to_owned(),
    };
    say(
        Tone::Trouble,
        format!("{meaning}: do not trust the reading"),
    )
}

fn controlling(watched: &Watched, now_s: f64) -> Doing {
    if let Some(began_s) = watched.tuning_since_s() {
        let text = format!("autotune for {}", lasting(now_s - began_s));
        return Doing {
            more: watched
                .swings
                .story(now_s, watched.facts.habit.map(|it| it.swings)),
            ..say(Tone::Tuning, text)
        };
    }
    if watched.awaits_verdict(now_s) {
        return say_moving(
            Tone::Tuning,
            "autotune over, reading what it found",
            watched,
        );
    }
    match watched.mode() {
        Some(Meaning::Manual) => return say_moving(Tone::Off, "in manual", watched),
        Some(Meaning::Stopped) => return say_moving(Tone::Off, "stopped", watched),
        _ => {}
    }
    match (watched.pv(), watched.target()) {
        (Some(pv), Some(target)) => against(watched, pv, target, now_s),
        _ => say(Tone::Moving, slope(watched).unwrap_or("reading".to_owned())),
    }
}

/// Where the process value is against its setpoint.
fn against(watched: &Watched, pv: f64, target: f64, now_s: f64) -> Doing {
    if let Some(since_s) = watched.in_band_since_s {
        let text = format!("in band for {}", lasting(now_s - since_s));
        return say_moving(Tone::Calm, text, watched);
    }
    let side = if pv > target { "above" } else { "below" };
    if let Some(left_s) = watched.left_band_s {
        let text = format!("{side} band for {}", lasting(now_s - left_s));
        return say_moving(Tone::Off, text, watched);
    }
    let target = number(target, watched.decimals());
    let verb = match watched.facts.band {
        None => "setpoint",
        Some(_) if side == "below" => "heating to",
        Some(_) => "cooling to",
    };
    say_moving(Tone::Moving, format!("{verb} {target}"), watched)
}

fn slope(watched: &Watched) -> Option<String> {
    let slope = watched.rate_per_min?;
    Some(if slope.abs() < STEADY_PER_MIN {
        "steady".to_owned()
    } else {
        format!("{} a minute", signed(slope, 1))
    })
}
