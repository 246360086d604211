//! Numbers, times and units as people read them: a real minus, thousands apart by a thin gap.

use chrono::{DateTime, Utc};

use crate::figures;
use crate::record::RecordedSetting;

/// Keeps groups of digits, and a number and its unit, together and apart.
const THIN_GAP: char = '\u{202f}';
const MINUS: char = '\u{2212}';
/// What stands where there is no number.
pub(super) const NOTHING: &str = "\u{2013}";

/// A number with so many decimals; a dash for what is no number.
pub(super) fn fixed(value: f64, decimals: usize) -> String {
    if !value.is_finite() {
        return NOTHING.to_owned();
    }
    figures::fixed(value, decimals)
}

/// The same with a plus before what is above zero.
pub(super) fn signed(value: f64, decimals: usize) -> String {
    let text = fixed(value, decimals);
    let above_zero = value > 0.0 && text.contains(|c: char| ('1'..='9').contains(&c));
    if above_zero { format!("+{text}") } else { text }
}

/// After minus before, as a reader would subtract the two numbers shown.
pub(super) fn difference(before: f64, after: f64, decimals: usize) -> f64 {
    let power = (0..decimals).fold(1.0, |power, _| power * 10.0);
    let shown = |value: f64| (value * power).round();
    (shown(after) - shown(before)) / power
}

/// A number and its unit, never parted.
pub(super) fn quantity(value: f64, decimals: usize, unit: &str) -> String {
    with_unit(&fixed(value, decimals), unit)
}

/// A text and its unit, never parted.
pub(super) fn with_unit(number: &str, unit: &str) -> String {
    if unit.is_empty() {
        number.to_owned()
    } else {
        format!("{number}{THIN_GAP}{unit}")
    }
}

/// A value as a controller wrote it, its minus made a real one.
pub(super) fn as_written(value: &str) -> String {
    match value.strip_prefix('-') {
        Some(rest) if rest.starts_with(|c: char| c.is_ascii_digit()) => format!("{MINUS}{rest}"),
        _ => value.to_owned(),
    }
}

/// A setting as a person reads it: `8.0 °C`, `automatic (0)`.
pub(super) fn setting(line: &RecordedSetting) -> String {
    let value = as_written(&line.value);
    match &line.meaning {
        Some(meaning) => format!("{meaning} ({value})"),
        None => with_unit(&value, unit_sign(&line.unit)),
    }
}

/// The sign of a unit as files write it (`degC`).
pub(super) fn unit_sign(unit: &str) -> &str {
    match unit {
        "degC" => "\u{b0}C",
        "degF" => "\u{b0}F",
        "pct" => "%",
        other => other,
    }
}

/// A length of time in its two largest units: `45 s`, `18 min 20 s`, `2 h 05 min`.
pub(super) fn span(seconds: f64) -> String {
    if !seconds.is_finite() {
        return NOTHING.to_owned();
    }
    let whole = seconds.abs().round() as u64;
    let text = match whole {
        0..60 => quantity(whole as f64, 0, "s"),
        60..3600 if whole.is_multiple_of(60) => quantity((whole / 60) as f64, 0, "min"),
        60..3600 => join(whole / 60, "min", whole % 60, "s"),
        _ => hours(whole),
    };
    if seconds < 0.0 && whole > 0 {
        format!("{MINUS}{text}")
    } else {
        text
    }
}

/// A length of time to whole minutes where it is long, for sentences.
pub(super) fn about(seconds: f64) -> String {
    if seconds < 600.0 {
        span(seconds)
    } else {
        span((seconds / 60.0).round() * 60.0)
    }
}

fn hours(whole: u64) -> String {
    // Rounded before it is split, so that 59.6 minutes do not become "60 min".
    let minutes = (whole + 30) / 60;
    match minutes {
        minutes if minutes.is_multiple_of(60) && minutes < 1440 => {
            quantity((minutes / 60) as f64, 0, "h")
        }
        0..1440 => join(minutes / 60, "h", minutes % 60, "min"),
        _ => join(minutes / 1440, "d", (minutes % 1440) / 60, "h"),
    }
}

fn join(large: u64, large_unit: &str, small: u64, small_unit: &str) -> String {
    format!("{large}{THIN_GAP}{large_unit} {small:02}{THIN_GAP}{small_unit}")
}

/// A wall time to the second.
pub(super) fn moment(time: DateTime<Utc>) -> String {
    time.format("%Y-%m-%d %H:%M:%S UTC").to_string()
}

/// How many decimals the values of a record carry: at least one, at most two.
pub(super) fn decimals_of(values: &[f64]) -> usize {
    let whole_tenths = |value: &f64| ((value * 10.0) - (value * 10.0).round()).abs() < 1e-6;
    if values.iter().all(whole_tenths) {
        1
    } else {
        2
    }
}

/// The same sentence, beginning with a capital.
pub(super) fn sentence(text: &str) -> String {
    let mut letters = text.chars();
    letters.next().map_or_else(String::new, |first| {
        first.to_uppercase().chain(letters).collect()
    })
}

/// `a`, `a and b`, `a, b and c`.
pub(super) fn list(words: &[&str]) -> String {
    match words {
        [] => String::new(),
        [only] => (*only).to_owned(),
        [first @ .., last] => format!("{} and {last}", first.join(", ")),
    }
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn thousands_stand_apart_and_minus_is_a_minus() {
        assert_eq!(fixed(-1_234_567.25, 1), "\u{2212}1\u{202f}234\u{202f}567.2");
        assert_eq!(fixed(999.0, 0), "999");
        assert_eq!(fixed(-0.04, 1), "0.0");
        assert_eq!(signed(0.04, 1), "0.0");
        assert_eq!(signed(3.25, 1), "+3.2");
        assert_eq!(fixed(f64::NAN, 1), "\u{2013}");
        assert_eq!(fixed(f64::INFINITY, 1), "\u{2013}");
    }

    #[test]
    fn a_span_shows_its_two_largest_units() {
        let plain = |seconds| span(seconds).replace(THIN_GAP, " ");
        assert_eq!(plain(45.2), "45 s");
        assert_eq!(plain(59.7), "1 min");
        assert_eq!(plain(1100.0), "18 min 20 s");
        assert_eq!(plain(3600.0), "1 h");
        assert_eq!(plain(7499.0), "2 h 05 min");
        assert_eq!(plain(3599.0), "59 min 59 s");
        assert_eq!(plain(200_000.0), "2 d 07 h");
        assert_eq!(plain(-5.0), "\u{2212}5 s");
    }

    #[test]
    fn words_are_listed_as_one_says_them() {
        assert_eq!(list(&["a"]), "a");
        assert_eq!(list(&["a", "b", "c"]), "a, b and c");
    }
}
