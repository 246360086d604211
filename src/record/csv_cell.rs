//! Cells of somebody's CSV: numbers and times as recorders of any country write them.

use chrono::{DateTime, NaiveDateTime, Utc};

/// Seconds since 1970 are beyond this; no record counts so far from its own beginning.
const UNIX_FROM: f64 = 1e9;

/// How wall time without a zone is written.
const WITHOUT_ZONE: [&str; 2] = ["%Y-%m-%dT%H:%M:%S%.f", "%Y-%m-%d %H:%M:%S%.f"];

/// A time as a cell gives it.
#[derive(Clone, Copy, Debug, PartialEq)]
pub(super) enum Moment {
    /// Wall time.
    Wall(DateTime<Utc>),
    /// Wall time that does not say in which zone; taken as UTC.
    WallWithoutZone(DateTime<Utc>),
    /// Seconds from any beginning.
    Seconds(f64),
}

impl Moment {
    /// A finite number of seconds, or a time of day with its date.
    pub(super) fn parse(text: &str, decimal_comma: bool) -> Option<Self> {
        if let Some(seconds) = number(text, decimal_comma) {
            return Some(match seconds {
                UNIX_FROM.. => Self::Wall(unix(seconds)?),
                _ => Self::Seconds(seconds),
            });
        }
        if let Ok(time) = DateTime::parse_from_rfc3339(text) {
            return Some(Self::Wall(time.to_utc()));
        }
        // A decimal comma is as good in a time as in a number (ISO 8601-1, 5.3.1.4).
        let text = text.replace(',', ".");
        let parsed = |format: &&str| NaiveDateTime::parse_from_str(&text, format).ok();
        let naive = WITHOUT_ZONE.iter().find_map(parsed)?;
        Some(Self::WallWithoutZone(naive.and_utc()))
    }

    /// Wall time, where it is.
    pub(super) fn wall(self) -> Option<DateTime<Utc>> {
        match self {
            Self::Wall(time) | Self::WallWithoutZone(time) => Some(time),
            Self::Seconds(_) => None,
        }
    }
}

fn unix(seconds: f64) -> Option<DateTime<Utc>> {
    DateTime::from_timestamp_micros((seconds * 1e6).round() as i64)
}

/// A finite number; with `decimal_comma` a single comma may stand for the point.
pub(super) fn number(text: &str, decimal_comma: bool) -> Option<f64> {
    // "inf" and "nan" parse, but are no measurements.
    let finite = |text: &str| text.parse::<f64>().ok().filter(|value| value.is_finite());
    let with_point = || {
        let one_comma = text.matches(',').count() == 1 && !text.contains('.');
        (decimal_comma && one_comma).then(|| text.replace(',', "."))
    };
    finite(text).or_else(|| finite(&with_point()?))
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn a_decimal_comma_is_read_where_commas_do_not_separate() {
        assert_eq!(number("21,4", true), Some(21.4));
        assert_eq!(number("21,4", false), None);
        assert_eq!(number("1.021,4", true), None);
        assert_eq!(number("nan", true), None);
    }

    #[test]
    fn times_are_read_with_and_without_a_zone() {
        let at = |text| Moment::parse(text, true).and_then(Moment::wall);
        let known = "2027-03-04T06:00:00.5Z".parse::<DateTime<Utc>>().ok();
        assert_eq!(at("2027-03-04T06:00:00.500Z"), known);
        assert_eq!(at("2027-03-04T07:00:00.5+01:00"), known);
        assert_eq!(at("2027-03-04 06:00:00,5"), known);
        assert_eq!(at("1804140000.5"), known);
        assert_eq!(Moment::parse("12.5", false), Some(Moment::Seconds(12.5)));
        assert_eq!(Moment::parse("noon", false), None);
    }
}
