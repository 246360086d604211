//! Points that are missing for what the program does.

use super::{Doubts, Entry};
use crate::map::model::{Refresh, Role};
use crate::map::parse::keys::Point as Keys;

pub(super) fn look(doubts: &Doubts<'_, '_>) {
    missing(doubts);
    if let Some(pv) = doubts.with_role(Role::ProcessValue) {
        process_value(pv);
    }
    for entry in &doubts.points.entries {
        slow(entry);
        status(entry);
    }
}

fn missing(doubts: &Doubts<'_, '_>) {
    let lacks = |role| doubts.with_role(role).is_none();
    if lacks(Role::ProcessValue) {
        let what = "no point has role \"process-value\": no loop can use this map";
        doubts.say(
            "no-process-value",
            what,
            "give it to the register of the temperature",
        );
    }
    if lacks(Role::Setpoint) && lacks(Role::WorkingSetpoint) {
        let what = "no point has role \"setpoint\": no deviation, no time in band, and steps are \
                    found only where --target and --step-at name them";
        doubts.say("no-setpoint", what, "add a point with role = \"setpoint\"");
    }
    if lacks(Role::Output) {
        let what = "no point has role \"output\": no duty figures, and an output at its limit, a \
                    failed heater or a stuck relay cannot be seen";
        doubts.say("no-output", what, "add a point with role = \"output\"");
    }
    if lacks(Role::AutotuneActive) {
        let what = "no point has role \"autotune-active\": an autotune cannot be followed or \
                    awaited; afterwards it can only be inferred from the swings";
        let help = "add the status bit or word that shows it, with role = \"autotune-active\"";
        doubts.say("no-autotune", what, help);
    }
    let tuning = [Role::Proportional, Role::Integral, Role::Derivative];
    let lacking: Vec<&str> = tuning
        .into_iter()
        .filter(|role| lacks(*role))
        .map(Role::word)
        .collect();
    if !lacking.is_empty() {
        let which = lacking.join(", ");
        let what = match lacking.len() {
            3 => format!("{which} are not mapped: whether an autotune tuned cannot be told"),
            _ => format!("not mapped: {which}: an autotune that changed only that looks like none"),
        };
        let help = "add them with refresh = \"settings\"";
        doubts.say("no-tuning-numbers", what, help);
    }
}

fn process_value(pv: &Entry<'_>) {
    let tells_faults =
        !pv.point.faults.is_empty() || pv.point.valid.is_some() || !pv.point.fault_from.is_empty();
    if !tells_faults {
        let what = "nothing tells a broken sensor from a temperature";
        let help = "add faults = { \"0x7FFF\" = \"sensor open\" } as the manual has it, or \
                    valid = [lowest, highest] of the sensor, or fault_from = the status bit that tells";
        pv.say(&Keys::ADDRESS, "no-faults", what, help);
    }
    if pv.unit().is_none() && !pv.section.has(&Keys::UNIT_FROM) {
        let what = "the process value has no unit";
        pv.say(
            &Keys::ADDRESS,
            "no-unit",
            what,
            "add unit = \"degC\" or another",
        );
    }
}

/// What the trend needs at every poll.
fn slow(entry: &Entry<'_>) {
    let point = &entry.point;
    let is_needed = matches!(
        point.role,
        Role::Setpoint | Role::Output | Role::AutotuneActive
    );
    if is_needed && point.refresh == Refresh::Settings {
        let role = point.role.word();
        let what = format!("role {role:?} is read slowly only, and the trend goes without it");
        let help = "leave 'refresh' out, so that it is read at every poll";
        entry.say(&Keys::REFRESH, "slow-role", what, help);
    }
}

fn status(entry: &Entry<'_>) {
    let point = &entry.point;
    let is_status = matches!(point.role, Role::AutotuneActive | Role::Fault);
    let is_whole_word = point.bits.is_none() && !point.place.table.is_bits();
    if is_status && is_whole_word && point.active.is_empty() {
        let what = "any value but 0 counts as active";
        let help = "if the register holds several bits, say which: bit = 0; else say which values \
                    are active: active = [1]";
        entry.say(&Keys::ROLE, "whole-word-status", what, help);
    }
    if point.role == Role::Mode && point.means.is_empty() {
        let what = "what its values mean is not said: manual cannot be told from automatic";
        let help = "add means = { \"0\" = \"automatic\", \"1\" = \"manual\" } as the manual has it";
        entry.say(&Keys::ROLE, "mode-without-means", what, help);
    }
}
