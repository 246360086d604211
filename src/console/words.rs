//! Numbers and times as people read them.

use chrono::{DateTime, Utc};

use super::look::Look;
use super::session::Zone;
use crate::figures::fixed;
use crate::sample::Happening;

/// What stands where a value is not known.
pub(super) const UNKNOWN: &str = "----";

/// A value with so many decimals and a real minus. Its digits stay together, so that a temperature
/// looks as it does on the panel.
pub(super) fn number(value: f64, decimals: u32) -> String {
    fixed(value, decimals as usize).replace('\u{202f}', "")
}

/// The same with its sign always shown, as a deviation is read.
pub(super) fn signed(value: f64, decimals: u32) -> String {
    let text = number(value, decimals);
    let is_zero = !text.chars().any(|c| matches!(c, '1'..='9'));
    if value > 0.0 && !is_zero {
        format!("+{text}")
    } else {
        text
    }
}

/// How long something has lasted: `00:41:10`, and days before it where there are some.
pub(super) fn lasting(seconds: f64) -> String {
    let whole = seconds.max(0.0) as u64;
    let (days, rest) = (whole / 86_400, whole % 86_400);
    let clock = format!("{:02}:{:02}:{:02}", rest / 3600, rest / 60 % 60, rest % 60);
    match days {
        0 => clock,
        _ => format!("{days} d {clock}"),
    }
}

/// What happened, as a screen with these characters writes it; a person's own words stay as they are.
pub(super) fn told(what: Happening, text: &str, look: &Look) -> String {
    match what {
        Happening::Mark => format!("mark: {text}"),
        _ => arrows(text, look),
    }
}

/// The program's own words with the arrows a terminal can show.
pub(super) fn arrows(text: &str, look: &Look) -> String {
    text.replace("->", look.choose("→", "->"))
}

/// Local time of day, `14:22`.
pub(super) fn time_of_day(time: DateTime<Utc>, zone: Zone) -> String {
    time.with_timezone(&zone(time)).format("%H:%M").to_string()
}

/// How many, with thousands apart.
pub(super) fn count(number: u64) -> String {
    fixed(number as f64, 0)
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn numbers_read_as_at_work() {
        assert_eq!(number(508.4, 1), "508.4");
        assert_eq!(number(-1.6, 1), "\u{2212}1.6");
        assert_eq!(number(1300.0, 1), "1300.0");
        assert_eq!(signed(1.6, 1), "+1.6");
        assert_eq!(signed(0.04, 1), "0.0");
    }

    #[test]
    fn times_read_as_at_work() {
        assert_eq!(lasting(2470.9), "00:41:10");
        assert_eq!(lasting(2.0 * 86_400.0 + 61.0), "2 d 00:01:01");
    }
}
