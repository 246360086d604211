//! The cautions that stand in every report, and the lines for signatures.

use super::markup::Markup;
use super::table;

const CAUTIONS: [&str; 5] = [
    "Emberline watches; it does not protect. Keep an independent over-temperature cut-out and the \
     machine\u{2019}s own interlocks, tested and in force.",
    "Know who stands at the equipment before an output or a setpoint is changed from a distance.",
    "Follow local codes and the site\u{2019}s lock-out practice.",
    "Leave wiring and sign-off to licensed people.",
    "A good step response is not a safety test. It says nothing about cut-outs, alarms, wiring or \
     guards.",
];

const CONFIRM: [&str; 4] = [
    "Load, door and supply were the same in both steps.",
    "The over-temperature cut-out is in place, set and tested.",
    "The settings in this report are those now in the controller.",
    "Nothing is left in manual, and every bypass is removed.",
];

/// The first of the cautions in short, for the first page.
pub(super) fn write_short(page: &mut Markup) {
    let text = "Emberline watches; it does not protect. The cautions before the sign-off are part of \
                this report.";
    page.words("p", &[("class", &"small caution")], text);
    page.line();
}

/// The cautions.
pub(super) fn write(page: &mut Markup) {
    table::section(page, "safety", "Safety", |section| {
        section.tag("ul", &[], |list| {
            for caution in CAUTIONS {
                list.words("li", &[], caution);
                list.line();
            }
        });
    });
}

/// What whoever signs confirms by hand, and where they sign.
pub(super) fn write_sign_off(page: &mut Markup) {
    table::section(page, "sign", "Sign-off", |section| {
        section.tag("ul", &[("class", &"boxes")], |list| {
            for line in CONFIRM {
                list.words("li", &[], line);
                list.line();
            }
        });
        for who in ["Done by", "Accepted by"] {
            section.tag("div", &[("class", &"signature")], |line| {
                for (class, text) in [("wide", who), ("", "Signature"), ("", "Date")] {
                    line.words("span", &[("class", &class)], text);
                }
            });
            section.line();
        }
    });
}
