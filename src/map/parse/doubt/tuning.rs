//! What the map says of the three tuning numbers, against the points that hold them.

use super::{Doubts, Entry};
use crate::map::model::{Derivative, Integral, Proportional, Role, TuningForm};
use crate::map::parse::keys::{MapFile, Point as Keys};
use crate::spanned::AnyKey;

pub(super) fn look(doubts: &Doubts<'_, '_>) {
    let [proportional, integral, derivative] =
        [Role::Proportional, Role::Integral, Role::Derivative].map(|role| doubts.with_role(role));
    let Some(tuning) = &doubts.map.tuning else {
        if proportional.or(integral).or(derivative).is_some() {
            let what = "how the controller understands its tuning numbers is not said: advice \
                        cannot be given in them";
            let help = "add [tuning] with form, proportional, integral and derivative";
            doubts.say("no-tuning-form", what, help);
        }
        return;
    };
    if let Some(entry) = proportional {
        band(entry, tuning);
    }
    let integral_is = match tuning.integral {
        Integral::Seconds => ("integral = \"seconds\"", "s"),
        Integral::Minutes => ("integral = \"minutes\"", "min"),
        Integral::RepeatsPerMinute => ("integral = \"repeats-per-minute\"", ""),
    };
    let derivative_is = match tuning.derivative {
        Derivative::Seconds => ("derivative = \"seconds\"", "s"),
        Derivative::Minutes => ("derivative = \"minutes\"", "min"),
    };
    for (entry, (says, unit)) in [(integral, integral_is), (derivative, derivative_is)] {
        if let Some(entry) = entry {
            time(entry, says, unit);
        }
    }
    if proportional.or(integral).or(derivative).is_none() {
        let what = "[tuning] is about points that the map does not have";
        let help = "add points with role = \"proportional\", \"integral\" and \"derivative\"";
        doubts.say_of_table(&MapFile::TUNING, "tuning-without-points", what, help);
    }
}

fn band(entry: &Entry<'_>, tuning: &TuningForm) {
    let (says, contradicts) = match tuning.proportional {
        Proportional::BandUnits => ("band-units", entry.unit() == Some("%")),
        Proportional::BandPercent => ("band-percent", entry.is_temperature()),
        Proportional::Gain => ("gain", entry.is_temperature()),
    };
    if contradicts {
        contradiction(entry, &format!("proportional = \"{says}\""));
    }
}

fn time(entry: &Entry<'_>, says: &str, unit: &str) {
    let is_time = |unit: &&str| matches!(*unit, "s" | "min");
    if entry.unit().filter(is_time).is_some_and(|own| own != unit) {
        contradiction(entry, says);
    }
}

fn contradiction(entry: &Entry<'_>, says: &str) {
    let unit = entry.unit().unwrap_or("degrees");
    let what = format!("its unit is {unit}, and [tuning] says {says}");
    let help = "keep what the controller's manual says";
    entry.say(&Keys::UNIT as &dyn AnyKey, "tuning-unit", what, help);
}
