//! Scales, encodings and units under which a value can hardly be right.

use rust_decimal::Decimal;
use rust_decimal::prelude::ToPrimitive;

use super::{Doubts, Entry};
use crate::map::model::{Role, Scaling};
use crate::map::parse::keys::Point as Keys;
use crate::map::parse::scaling::SCALING;
use crate::spanned::AnyKey;

/// An oven's process value that cannot get this far is hardly right; common practice, no source.
const LEAST_REACH: Decimal = Decimal::ONE_HUNDRED;
/// Nor is a degree or percent in steps of this; common practice, no source.
const COARSEST: Decimal = Decimal::TEN;

pub(super) fn look(doubts: &Doubts<'_, '_>) {
    for entry in &doubts.points.entries {
        reach(entry);
        step(entry);
        switchable_limits(entry);
    }
    if let Some(pv) = doubts.with_role(Role::ProcessValue) {
        sign(pv);
        for role in [Role::Setpoint, Role::WorkingSetpoint] {
            if let Some(setpoint) = doubts.with_role(role) {
                alike(pv, setpoint);
            }
        }
    }
}

/// Whether the registers get as far as the map says the value goes.
fn reach(entry: &Entry<'_>) {
    let point = &entry.point;
    let Some((low, high)) = point.reach() else {
        return;
    };
    let unit = entry.unit().unwrap_or_default();
    let register = match point.bits {
        Some(_) => "its part of the word",
        None => point.encoding.word(),
    };
    let says = format!("{register} with this scale reaches {low} to {high} {unit}");
    let says = says.trim_end();
    let help = "check scale and encoding";
    let (low, high) = (as_f64(low), as_f64(high));
    for (key, name, limits) in [
        (&Keys::VALID as &dyn AnyKey, "valid", point.valid),
        (&Keys::WRITABLE, "writable", point.writable),
    ] {
        if let Some((from, to)) = limits.filter(|(from, to)| *from < low || *to > high) {
            let what = format!("'{name}' goes from {from} to {to}, but {says}");
            entry.say(key, "out-of-reach", what, help);
            return;
        }
    }
    let is_short = match point.role {
        Role::ProcessValue => entry.is_temperature() && high < as_f64(LEAST_REACH),
        Role::Output => unit == "%" && high < as_f64(LEAST_REACH),
        _ => false,
    };
    if is_short {
        entry.say(&Keys::SCALE, "short-reach", format!("{says} only"), help);
    }
}

fn step(entry: &Entry<'_>) {
    let Scaling::Linear { scale, .. } = &entry.point.scaling else {
        return;
    };
    let unit = entry.unit().unwrap_or_default();
    let is_degrees = entry.is_temperature();
    if (is_degrees || unit == "%") && scale.abs() >= COARSEST {
        let what = format!("the value moves in steps of {scale} {unit}");
        let help = "a register in tenths needs scale = 0.1: value = raw * scale";
        entry.say(&Keys::SCALE, "coarse-scale", what, help);
    }
    let is_float = entry.point.bits.is_none() && entry.point.encoding.is_float();
    if is_float && is_degrees && *scale != Decimal::ONE {
        let what = "a floating-point register is scaled, and usually it holds degrees already";
        let help = "leave 'scale' out and compare with the panel";
        entry.say(&Keys::SCALE, "scaled-float", what, help);
    }
}

fn switchable_limits(entry: &Entry<'_>) {
    let limits: [(&dyn AnyKey, bool); 2] = [
        (&Keys::VALID, entry.point.valid.is_some()),
        (&Keys::WRITABLE, entry.point.writable.is_some()),
    ];
    let limited = limits.into_iter().find(|(_, is_there)| *is_there);
    let is_switchable = entry.section.has(&Keys::UNIT_FROM);
    if let Some((key, _)) = limited
        && is_switchable
        && entry.point.limits_in.is_none()
    {
        let name = key.name();
        let what = format!("its unit can be switched, and '{name}' does not say what it is in");
        let help = "add limits_in = \"degC\" or another";
        entry.say(key, "limits-without-unit", what, help);
    }
}

fn sign(pv: &Entry<'_>) {
    let is_unsigned = pv
        .point
        .reach()
        .is_some_and(|(low, _)| low >= Decimal::ZERO);
    if is_unsigned && pv.is_temperature() && pv.point.bits.is_none() {
        let encoding = pv.point.encoding.word();
        let what = format!("{encoding} has no sign: below zero it would read as a very high value");
        let help = "use i16 (or i32, i64) unless the register table says unsigned";
        pv.say(&Keys::ENCODING, "unsigned-temperature", what, help);
    }
}

/// Process value and setpoint of one controller have the same unit, and registers of one kind the
/// same scale.
fn alike(pv: &Entry<'_>, setpoint: &Entry<'_>) {
    let name = &pv.point.name;
    if setpoint.point.unit != pv.point.unit {
        let what = format!("its unit is not that of the process value, point '{name}'");
        let key: &dyn AnyKey = if setpoint.section.has(&Keys::UNIT_FROM) {
            &Keys::UNIT_FROM
        } else {
            &Keys::UNIT
        };
        setpoint.say(key, "different-units", what, "check both units");
    }
    let is_one_kind = setpoint.point.encoding.is_float() == pv.point.encoding.is_float();
    if is_one_kind && setpoint.point.scaling != pv.point.scaling {
        let what = format!("it is not scaled as the process value is, point '{name}'");
        let has = |key: &&&dyn AnyKey| setpoint.section.has(**key);
        let key = SCALING.iter().find(has).copied().unwrap_or(&Keys::SCALE);
        setpoint.say(key, "different-scales", what, "check both scales");
    }
}

fn as_f64(decimal: Decimal) -> f64 {
    // A decimal holds at most 96 bits and always converts.
    decimal.to_f64().unwrap_or(f64::NAN)
}
