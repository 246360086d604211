//! What the terminal's window is called.

use super::doing::Tone;
use super::view::{LoopView, ScreenView};
use super::words::{UNKNOWN, number};

/// The value and what the loop is doing, or how many loops are well; trouble first.
pub(super) fn of(view: &ScreenView) -> String {
    let is_trouble = |one: &&LoopView| one.doing.tone == Tone::Trouble;
    let trouble = view.loops.iter().filter(is_trouble).count();
    if let Some(one) = view.alone.and_then(|i| view.loops.get(i)) {
        let alarm = if trouble > 0 || view.has_danger {
            "! "
        } else {
            ""
        };
        let value = one
            .pv
            .map_or(UNKNOWN.to_owned(), |pv| number(pv, one.decimals));
        return format!("{alarm}{value} {} {}", one.unit, one.name);
    }
    let alarm = match trouble {
        0 if view.has_danger => "! ".to_owned(),
        0 => String::new(),
        count => format!("! {count} in trouble: "),
    };
    format!("{alarm}{}", view.title)
}
