//! What must be known to trust the figures.

use super::super::episode::{NONE, Note};
use super::finish::Facts;
use super::gate::Unsettled;
use super::result::{Steady, SteadyOptions};
use crate::figures::{amount, duration, fixed};

/// So many setpoints are named.
const NAMED: usize = 4;

/// Adds the notes to what was found.
pub(super) fn add(
    found: &mut Steady,
    facts: &Facts,
    unsettled: Option<Unsettled>,
    options: &SteadyOptions,
) {
    let all = [
        nothing(found, options),
        unsettled.map(never_settled),
        one_sample(found),
        no_value(found),
        no_band(found),
        setpoints(facts, options),
        lag1(found),
        drift(found),
        excursions(found),
        ranks(facts),
        cycle(found),
        allan(found, facts),
        repeated(facts),
        early(facts),
        no_cycle_time(options),
        no_wall(found, options),
        no_output(found, options),
    ];
    found.notes = all.into_iter().flatten().collect();
}

fn note(code: &'static str, about: &'static str, text: String) -> Note {
    Note::new(code, about, text)
}

fn nothing(found: &Steady, options: &SteadyOptions) -> Option<Note> {
    if found.count > 0 {
        return None;
    }
    if found.excluded_s > 0.0 && options.around.is_none() {
        let text = "nothing counts: the record has no hold of more than five minutes at a setpoint; \
                    with --around everything counts";
        return Some(note("no-hold", "", text.to_owned()));
    }
    let text = "nothing counts: the record has no process value, or a single one";
    Some(note("no-samples", "", text.to_owned()))
}

fn never_settled(unsettled: Unsettled) -> Note {
    let text = format!(
        "after {} of the setpoint, first to {} at {} s, the loop was never seen to settle in its \
         band: from there to the next change nothing counts; a wider --band settles sooner, with \
         --around everything counts",
        if unsettled.count == 1 {
            "a change".to_owned()
        } else {
            format!("{} changes", unsettled.count)
        },
        amount(unsettled.target),
        fixed(unsettled.first_s, 0),
    );
    note("not-settled", "excluded_s", text)
}

fn one_sample(found: &Steady) -> Option<Note> {
    (found.count == 1).then(|| {
        note(
            "few-samples",
            "sd",
            "only one sample counts: there is no spread, no drift and no cycle".to_owned(),
        )
    })
}

fn no_value(found: &Steady) -> Option<Note> {
    (found.around.is_none() && found.count > 0).then(|| {
        note(
            "no-setpoint",
            "in_band_pct",
            "the record has no setpoint: everything counts, and --around with --band says around what it was to stay"
                .to_owned(),
        )
    })
}

fn no_band(found: &Steady) -> Option<Note> {
    (found.around.is_some() && found.band.is_none() && found.count > 0).then(|| {
        note(
            "no-band",
            "in_band_pct",
            "no band is known for this loop: --band gives one, in degrees".to_owned(),
        )
    })
}

fn setpoints(facts: &Facts, options: &SteadyOptions) -> Option<Note> {
    let [around, others @ ..] = &facts.setpoints[..] else {
        return None;
    };
    if others.is_empty() || options.around.is_some() {
        return None;
    }
    let mut named: Vec<String> = others.iter().take(NAMED).map(|it| amount(*it)).collect();
    if others.len() > NAMED {
        named.push(format!("{} more", others.len() - NAMED));
    }
    Some(note(
        "several-setpoints",
        "mean",
        format!(
            "more than one setpoint was held; process values at {} are moved by the difference to {}, which was held longest",
            named.join(", "),
            amount(*around)
        ),
    ))
}

fn lag1(found: &Steady) -> Option<Note> {
    (found.count > 1 && found.lag1.is_none()).then(|| {
        note(
            "constant",
            "lag1",
            "all samples are the same, or none has a neighbour: there is no correlation".to_owned(),
        )
    })
}

fn drift(found: &Steady) -> Option<Note> {
    let (text, code) = match found.drift {
        None if found.count > 2 && found.counted_s > 0.0 => (
            "less than an hour lies between the first and the last sample that counts: too short to \
             tell a drift a day; record for longer",
            "short-record",
        ),
        None if found.count > 1 => (
            "fewer than three samples, or all at one time: no slope",
            "few-samples",
        ),
        Some(it) if it.ci95.is_none() => (
            "the samples hang together over the whole record: how certain the slope is cannot be said; record for longer",
            "short-record",
        ),
        _ => return None,
    };
    Some(note(code, "drift_per_day", text.to_owned()))
}

fn excursions(found: &Steady) -> Option<Note> {
    let listed = found.excursions.len();
    (found.excursion_count > listed as u64).then(|| {
        note(
            "excursions-left-out",
            "excursions",
            format!(
                "{} excursions in all; the {listed} that went farthest are listed",
                found.excursion_count
            ),
        )
    })
}

fn ranks(facts: &Facts) -> Option<Note> {
    (!facts.ranks_are_exact).then(|| {
        note(
            "ranks-rounded",
            "p50",
            "more than 65,536 different values: percentiles are within 0.1 % of rank".to_owned(),
        )
    })
}

fn cycle(found: &Steady) -> Option<Note> {
    (found.count > 1 && found.cycle.is_none()).then(|| {
        note(
            NONE,
            "cycle",
            "no period that goes round at least seven times stands above the noise".to_owned(),
        )
    })
}

/// Where gaps keep the averaging times short.
fn allan(found: &Steady, facts: &Facts) -> Option<Note> {
    if found.count > 1 && found.allan.is_empty() {
        let text = "no three samples without a gap between them";
        return Some(note("gaps", "allan", text.to_owned()));
    }
    (found.missing_s > 0.0 && facts.unbroken_s < 0.5 * found.counted_s).then(|| {
        note(
            "gaps",
            "allan",
            format!(
                "the longest stretch without a missing sample is {}: averaging times end at half of it",
                duration(facts.unbroken_s)
            ),
        )
    })
}

fn repeated(facts: &Facts) -> Option<Note> {
    (facts.repeated > 0).then(|| {
        note(
            "repeated-times",
            "",
            format!(
                "{} samples have the time of the one before; they count",
                facts.repeated
            ),
        )
    })
}

fn early(facts: &Facts) -> Option<Note> {
    (facts.early > 0).then(|| {
        note(
            "time-backwards",
            "",
            format!(
                "{} samples are earlier than the one before them and are left out",
                facts.early
            ),
        )
    })
}

fn no_cycle_time(options: &SteadyOptions) -> Option<Note> {
    (options.relay_life.is_some() && options.cycle_time_s.is_none()).then(|| {
        let text =
            "how long the relay lasts depends on the output's cycle time: --cycle-time gives it";
        note("no-cycle-time", "relay", text.to_owned())
    })
}

fn no_wall(found: &Steady, options: &SteadyOptions) -> Option<Note> {
    (found.count > 0 && options.wall.is_empty()).then(|| {
        note(
            "no-wall-time",
            "days",
            "the record has seconds but no date: no tables of hours and days".to_owned(),
        )
    })
}

fn no_output(found: &Steady, options: &SteadyOptions) -> Option<Note> {
    (found.count > 0 && found.output.is_none()).then(|| {
        let relay = if options.cycle_time_s.is_some() {
            ", and nothing can be said of the relay"
        } else {
            ""
        };
        note(
            "no-output",
            "output",
            format!("the record has no output: its drift is what shows ageing{relay}"),
        )
    })
}
