//! Raw values that controllers send instead of a value; common practice, no source.

use crate::map::model::{Point, Role};
use crate::map::raw::mask;
use crate::number::Number;

/// A raw value of all ones, or at an end of the signed range, that the map does not explain.
pub(super) fn look(point: &Point, raw: u64, number: Number) -> Option<(&'static str, String)> {
    let shape = point.shape();
    let is_whole_register = point.bits.is_none() && !point.place.table.is_bits();
    if !is_whole_register || shape.is_float() || point.is_off(number) || !point.active.is_empty() {
        return None;
    }
    let ones = mask(shape.width());
    let half = ones >> 1;
    let is_end = raw == half || raw == half + 1;
    // Below zero by one step is what a cold workshop may well read; of a status it is none.
    let is_minus_one = raw == ones && is_measured(point.role);
    if !is_end && !is_minus_one {
        return None;
    }
    let text = format!(
        "reads {number} (0x{raw:X}): controllers often send that for a broken or absent sensor; if \
         this one does, add faults = {{ \"0x{raw:X}\" = \"sensor open\" }}"
    );
    Some(("fault-pattern", text))
}

fn is_measured(role: Role) -> bool {
    matches!(
        role,
        Role::ProcessValue
            | Role::WorkingSetpoint
            | Role::Output
            | Role::CoolingOutput
            | Role::HeaterCurrent
    )
}
