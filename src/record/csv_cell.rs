//! Cells of somebody's CSV: numbers and times as recorders of any country write them.

use chrono::{DateTime, NaiveDateTime, Utc};

/// Seconds since 1970 are beyond this; no record counts so far from its own beginning.
const UNIX_FROM: f64 = 1e9;
/// Beyond this (in the year 5138) they are milliseconds since 1970.
const UNIX_MILLISECONDS_FROM: f64 = 1e11;

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

/// What a number in a time column counts.
#[derive(Clone, Copy, Debug, PartialEq, Eq)]
pub(super) enum Counts {
    Seconds,
    Milliseconds,
}

impl Moment {
    /// A finite number of seconds or milliseconds, or a time of day with its date.
    pub(super) fn parse(text: &str, decimal_comma: bool, counts: Counts) -> Option<Self> {
        if let Some(count) = number(text, decimal_comma) {
            return Some(match (count, counts) {
                (UNIX_MILLISECONDS_FROM.., _) => Self::Wall(unix(count / 1e3)?),
                (_, Counts::Milliseconds) => Self::Seconds(count / 1e3),
                (UNIX_FROM.., Counts::Seconds) => Self::Wall(unix(count)?),
                (_, Counts::Seconds) => Self::Seconds(count),
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

/// Day numbers of spreadsheets for the years 2000 to 2099.
pub(super) const DAYS: std::ops::Range<f64> = 36_526.0..73_051.0;
/// Day numbers grow by less than this from row to row: an hour.
pub(super) const MOST_DAYS_A_ROW: f64 = 1.0 / 24.0;

/// Wall time of a spreadsheet's day number, to the millisecond; without a zone, taken as UTC.
///
/// Day 0 is 1899-12-30, so that all days from March 1900 on are right (the 1900 date system;
/// ECMA-376-1, 18.17.4.1).
pub(super) fn of_day_number(days: f64) -> Option<DateTime<Utc>> {
    const UNIX_DAY: f64 = 25_569.0;
    DateTime::from_timestamp_millis(((days - UNIX_DAY) * 86_400_000.0).round() as i64)
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
        let parsed = |text| Moment::parse(text, true, Counts::Seconds);
        let at = |text| parsed(text).and_then(Moment::wall);
        let known = "2027-03-04T06:00:00.5Z".parse::<DateTime<Utc>>().ok();
        assert_eq!(at("2027-03-04T06:00:00.500Z"), known);
        assert_eq!(at("2027-03-04T07:00:00.5+01:00"), known);
        assert_eq!(at("2027-03-04 06:00:00,5"), known);
        assert_eq!(at("1804140000.5"), known);
        assert_eq!(at("1804140000500"), known);
        assert_eq!(parsed("12.5"), Some(Moment::Seconds(12.5)));
        assert_eq!(parsed("noon"), None);
    }

    /// The examples of RFC 3339, section 5.8, in their order; and what other sections say.
    #[test]
    fn the_examples_of_rfc_3339_are_the_times_it_says() {
        for (text, utc) in [
            ("1985-04-12T23:20:50.52Z", "1985-04-12 23:20:50.520 UTC"),
            ("1996-12-19T16:39:57-08:00", "1996-12-20 00:39:57 UTC"),
            ("1990-12-31T23:59:60Z", "1990-12-31 23:59:60 UTC"),
            ("1990-12-31T15:59:60-08:00", "1990-12-31 23:59:60 UTC"),
            (
                "1937-01-01T12:00:27.87+00:20",
                "1937-01-01 11:40:27.870 UTC",
            ),
            // 4.3: UTC, and the local time is not known.
            ("1985-04-12T23:20:50-00:00", "1985-04-12 23:20:50 UTC"),
            // 5.6, notes: small letters, and a space for the T.
            ("1985-04-12t23:20:50z", "1985-04-12 23:20:50 UTC"),
            ("1985-04-12 23:20:50Z", "1985-04-12 23:20:50 UTC"),
        ] {
            let time = Moment::parse(text, false, Counts::Seconds).and_then(Moment::wall);
            assert_eq!(time.unwrap().to_string(), utc, "{text}");
        }
    }

    #[test]
    fn milliseconds_are_counted_where_the_column_says_so() {
        let parsed = |text| Moment::parse(text, false, Counts::Milliseconds);
        assert_eq!(parsed("1500"), Some(Moment::Seconds(1.5)));
        assert_eq!(parsed("2000000000"), Some(Moment::Seconds(2e6)));
        assert!(matches!(parsed("1804140000500"), Some(Moment::Wall(_))));
    }
}
