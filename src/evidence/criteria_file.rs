//! The criteria file: what a step must reach, as a person writes it down.
//!
//! ```toml
//! schema = 1
//! unit = "degC"              # optional: what its degrees are in; otherwise the loop's unit
//! band = 2.0                 # optional: degrees about the target that count as settled
//! window = "60 min"          # optional: the integrals look no further than this
//!
//! # At least one of these. All are "at most".
//! overshoot_max = 2.0        # degrees
//! overshoot_pct_max = 10.0   # percent of the step
//! settling_max = "20 min"    # into the band, to stay
//! rise_max = "12 min"        # from 10 % to 90 % of the step
//! final_error_max = 0.5      # degrees, either way
//! iae_max = 6000.0           # degree.s
//! ```

use std::path::Path;
use std::time::Duration;

use crate::spanned::{self, FileErrors, Item, Section};

use super::criteria::{Criteria, Limit, Measure};

const SCHEMA: i64 = 1;
const LONGEST: Duration = Duration::from_hours(366 * 24);

impl Criteria {
    /// Reads a criteria file.
    ///
    /// # Errors
    /// Everything that is wrong with it, each with its place and a way out.
    pub fn load(path: &Path) -> Result<Self, FileErrors> {
        let shown = path.display().to_string();
        let text = spanned::read_text(path).map_err(|error| {
            let what = format!("cannot be read: {}", spanned::describe(&error));
            FileErrors::of_file(&shown, what, spanned::help_for(&error))
        })?;
        let name = path.file_name().unwrap_or_default().to_string_lossy();
        Self::parse(&text, &shown, &name)
    }

    /// Reads criteria from their text; `path` is what errors call the file, `name` what a report
    /// calls it.
    ///
    /// ```
    /// use emberline::evidence::Criteria;
    /// let text = "schema = 1\nsettling_max = \"20 min\"\n";
    /// let criteria = Criteria::parse(text, "job/limits.toml", "limits.toml").unwrap();
    /// assert_eq!(criteria.limits[0].most, 1200.0);
    /// ```
    ///
    /// # Errors
    /// As [`load`](Self::load).
    pub fn parse(text: &str, path: &str, name: &str) -> Result<Self, FileErrors> {
        Section::of_file(path, text, |file| {
            file.expect_schema(SCHEMA);
            let criteria = Self {
                name: name.to_owned(),
                unit: file.read("unit", unit),
                band: file.read("band", positive),
                window_s: file.read("window", seconds),
                limits: Measure::ALL
                    .iter()
                    .filter_map(|(measure, key)| limit(file, *measure, key))
                    .collect(),
            };
            if !Measure::ALL.iter().any(|(_, key)| file.has(key)) {
                let keys = Measure::ALL.map(|(_, key)| key).join(", ");
                let help = format!("set at least one of {keys}");
                file.note_structure("there is no limit in this file", &help);
            }
            file.finish();
            Some(criteria)
        })
    }

    /// The same criteria with their degrees in another unit; `None` where one cannot be had from
    /// the other. Bands, errors and overshoots are differences: only the factor 1.8 counts.
    #[must_use]
    pub fn in_unit(&self, unit: &str) -> Option<Self> {
        let own = self.unit.as_deref().unwrap_or(unit);
        let factor = degree_size(own, unit)?;
        let mut converted = self.clone();
        converted.unit = Some(unit.to_owned());
        converted.band = self.band.map(|band| band * factor);
        for limit in &mut converted.limits {
            if limit.measure.is_in_degrees() {
                limit.most *= factor;
            }
        }
        Some(converted)
    }
}

/// How many degrees of `to` make one of `from`.
fn degree_size(from: &str, to: &str) -> Option<f64> {
    let per_kelvin = |unit: &str| match unit {
        "degC" | "K" => Some(1.0),
        "degF" => Some(1.8),
        _ => None,
    };
    if from == to {
        return Some(1.0);
    }
    Some(per_kelvin(to)? / per_kelvin(from)?)
}

fn limit(file: &Section<'_>, measure: Measure, key: &'static str) -> Option<Limit> {
    let read = if measure.is_time() { seconds } else { positive };
    Some(Limit {
        measure,
        most: file.read(key, read)?,
    })
}

fn unit(item: &Item<'_>) -> Option<String> {
    let unit = item.text()?;
    if degree_size(unit, "K").is_none() {
        let what = format!("'unit' cannot be {unit:?}");
        item.note(&what, "write \"degC\", \"degF\" or \"K\"");
        return None;
    }
    Some(unit.to_owned())
}

fn positive(item: &Item<'_>) -> Option<f64> {
    let value = item.number()?;
    if !(value > 0.0 && value.is_finite()) {
        let what = format!("'{}' cannot be {value}", item.key());
        item.note(&what, "write a number above 0");
        return None;
    }
    Some(value)
}

fn seconds(item: &Item<'_>) -> Option<f64> {
    let duration = item.duration(Duration::from_secs(1)..=LONGEST)?;
    Some(duration.as_secs_f64())
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn every_key_is_read() {
        let text = "schema = 1\nunit = \"degC\"\nband = 2.0\nwindow = \"1h\"\n\
                    overshoot_max = 3\novershoot_pct_max = 10\nsettling_max = \"20 min\"\n\
                    rise_max = \"12 min\"\nfinal_error_max = 0.5\niae_max = 6000\n";
        let read = Criteria::parse(text, "c.toml", "c.toml").unwrap();
        let most: Vec<f64> = read.limits.iter().map(|limit| limit.most).collect();
        assert_eq!(most, [3.0, 10.0, 1200.0, 720.0, 0.5, 6000.0]);
        assert_eq!((read.band, read.window_s), (Some(2.0), Some(3600.0)));
    }

    #[test]
    fn mistakes_come_together_each_with_its_place() {
        let text = "schema = 1\nband = -2\nsettling_max = 20\novershot_max = 3\n";
        let errors = Criteria::parse(text, "c.toml", "c.toml")
            .unwrap_err()
            .to_string();
        for wanted in [
            "c.toml:2:8: 'band' cannot be -2",
            "c.toml:3:16: ",
            "c.toml:4:1: unknown key 'overshot_max'",
            "did you mean 'overshoot_max'?",
        ] {
            assert!(errors.contains(wanted), "{wanted:?} is not in:\n{errors}");
        }
    }

    #[test]
    fn a_file_without_a_limit_is_a_mistake() {
        let errors = Criteria::parse("schema = 1\nband = 2.0\n", "c.toml", "c.toml").unwrap_err();
        assert!(
            errors
                .to_string()
                .contains("set at least one of overshoot_max")
        );
    }

    #[test]
    fn degrees_convert_as_differences() {
        let text =
            "schema = 1\nunit = \"degC\"\nband = 2\novershoot_max = 5\nrise_max = \"1 min\"\n";
        let celsius = Criteria::parse(text, "c.toml", "c.toml").unwrap();
        let fahrenheit = celsius.in_unit("degF").unwrap();
        assert_eq!(fahrenheit.band, Some(3.6));
        let most: Vec<f64> = fahrenheit.limits.iter().map(|limit| limit.most).collect();
        assert_eq!(most, [9.0, 60.0]);
        assert_eq!(celsius.in_unit("bar"), None);
    }
}
