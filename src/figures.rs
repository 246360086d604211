//! Figures as people read them: a real minus, thousands apart by a thin gap, time in minutes.

use std::time::Duration;

/// Between thousands: narrow, and never broken at a line's end.
const THIN_GAP: char = '\u{202f}';
const MINUS: char = '\u{2212}';

/// A number with so many decimals; one that rounds to zero has no sign.
///
/// ```
/// use emberline::figures::fixed;
/// assert_eq!(fixed(-3140.25, 1), "\u{2212}3\u{202f}140.2");
/// assert_eq!(fixed(-0.04, 1), "0.0");
/// ```
pub fn fixed(value: f64, decimals: usize) -> String {
    let digits = format!("{:.decimals$}", value.abs());
    let (whole, rest) = digits.split_at(digits.find('.').unwrap_or(digits.len()));
    let is_zero = digits.chars().all(|c| matches!(c, '0' | '.'));
    let sign = (value < 0.0 && !is_zero).then_some(MINUS);
    let mut text = String::from_iter(sign);
    for (place, digit) in whole.chars().enumerate() {
        if place > 0 && (whole.len() - place).is_multiple_of(3) {
            text.push(THIN_GAP);
        }
        text.push(digit);
    }
    text + rest
}

/// An amount with about three significant digits, without useless zeros.
///
/// ```
/// use emberline::figures::amount;
/// assert_eq!(["0.1234", "2.50", "31.46", "510"].map(|n| amount(n.parse().unwrap())),
///     ["0.123", "2.5", "31.5", "510"]);
/// ```
pub fn amount(value: f64) -> String {
    let decimals = match value.abs() {
        100.0.. => 0,
        10.0.. => 1,
        1.0.. => 2,
        0.1.. => 3,
        _ => 4,
    };
    let text = fixed(value, decimals);
    if text.contains('.') {
        return text.trim_end_matches('0').trim_end_matches('.').to_owned();
    }
    text
}

/// A trend as wide as there are levels: the least is a line at the bottom, the greatest a full
/// block; a gap where there is none.
///
/// ```
/// use emberline::figures::spark;
/// let trend = spark(&[Some(0.0), Some(3.5), None, Some(7.0)]);
/// assert_eq!(trend, "\u{2581}\u{2585} \u{2588}");
/// ```
pub fn spark(levels: &[Option<f64>]) -> String {
    const LOWEST: u32 = 0x2581;
    let known = || levels.iter().flatten().copied();
    let least = known().fold(f64::INFINITY, f64::min);
    let range = known().fold(f64::NEG_INFINITY, f64::max) - least;
    let block = |level: f64| {
        let eighths = if range > 0.0 {
            (7.0 * (level - least) / range).round()
        } else {
            0.0
        };
        char::from_u32(LOWEST + eighths as u32).unwrap_or(' ')
    };
    levels
        .iter()
        .map(|level| level.map_or(' ', block))
        .collect()
}

/// A wait as a person says it: below a second in milliseconds, else as [`duration`].
///
/// ```
/// use emberline::figures::wait;
/// assert_eq!([500, 1500, 90_000].map(|ms| wait(std::time::Duration::from_millis(ms))),
///     ["500 ms", "1.5 s", "1 min 30 s"]);
/// ```
pub fn wait(time: Duration) -> String {
    if (Duration::from_millis(1)..Duration::from_secs(1)).contains(&time) {
        return format!("{} ms", amount(time.as_secs_f64() * 1000.0));
    }
    duration(time.as_secs_f64())
}

/// A duration as a person says it: `40 s`, `18 min 20 s`, `3 h 5 min`.
///
/// ```
/// use emberline::figures::duration;
/// assert_eq!([0.25, 40.0, 1100.0, 120.0, 11_100.0].map(duration),
///     ["0.25 s", "40 s", "18 min 20 s", "2 min", "3 h 5 min"]);
/// ```
pub fn duration(seconds: f64) -> String {
    if seconds < 10.0 {
        return format!("{} s", amount(seconds));
    }
    let whole = seconds.round() as u64;
    // Over an hour seconds do not matter, and are rounded before the minutes are split.
    let minutes = if whole < 3600 {
        whole / 60
    } else {
        (whole + 30) / 60
    };
    match (minutes / 60, minutes % 60, whole % 60) {
        (0, 0, rest) => format!("{rest} s"),
        (0, minutes, 0) => format!("{minutes} min"),
        (0, minutes, rest) => format!("{minutes} min {rest} s"),
        (hours, 0, _) => format!("{hours} h"),
        (hours, minutes, _) => format!("{hours} h {minutes} min"),
    }
}
