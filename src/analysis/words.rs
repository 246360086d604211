//! Figures in sentences for people.

/// An amount with about three significant digits, without useless zeros.
pub(crate) fn amount(value: f64) -> String {
    let size = value.abs();
    let decimals = match size {
        100.0.. => 0,
        10.0.. => 1,
        1.0.. => 2,
        0.1.. => 3,
        _ => 4,
    };
    let text = format!("{value:.decimals$}");
    if text.contains('.') {
        return text.trim_end_matches('0').trim_end_matches('.').to_owned();
    }
    text
}

/// A duration as a person says it: `40 s`, `18 min 20 s`, `3 h 5 min`.
pub(crate) fn duration(seconds: f64) -> String {
    if seconds < 10.0 {
        return format!("{} s", amount(seconds));
    }
    let whole = seconds.round() as u64;
    let (hours, minutes, rest) = (whole / 3600, whole / 60 % 60, whole % 60);
    match (hours, minutes, rest) {
        (0, 0, _) => format!("{rest} s"),
        (0, _, 0) => format!("{minutes} min"),
        (0, ..) => format!("{minutes} min {rest} s"),
        (_, 0, _) => format!("{hours} h"),
        _ => format!("{hours} h {minutes} min"),
    }
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn amounts_carry_what_matters() {
        let texts = [0.0, 0.05, 0.1234, 2.5, 31.46, 510.0].map(amount);
        assert_eq!(texts, ["0", "0.05", "0.123", "2.5", "31.5", "510"]);
    }

    #[test]
    fn durations_read_as_spoken() {
        let texts = [0.25, 40.0, 1100.0, 120.0, 11_100.0].map(duration);
        assert_eq!(
            texts,
            ["0.25 s", "40 s", "18 min 20 s", "2 min", "3 h 5 min"]
        );
    }
}
