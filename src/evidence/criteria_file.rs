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

use serde_json::Value;

use crate::spanned::{
    self, FileErrors, Item, Key, Kind, Positive, Section, Time, Version, Word, keys,
};
use crate::unit::{Degrees, Quantity};

use super::criteria::{Criteria, Limit, Measure};

const LONGEST: Duration = Duration::from_hours(366 * 24);
const ABOVE_0: Positive = Positive("write a number above 0");
const LENGTH: Time = Time(Duration::from_secs(1), LONGEST);

keys! {
    /// What a step must reach: at least one limit, all of them "at most".
    Keys {
        /// The version of this file's form.
        SCHEMA: Version = "schema" => Version(1), needed "begin the file with: schema = 1";
        /// What its degrees are in; the loop's unit unless said.
        UNIT: Word<Degrees> = "unit" => Word::new();
        /// Degrees about the target that count as settled.
        BAND: Positive = "band" => ABOVE_0;
        /// The integrals look no further than this.
        WINDOW: Time = "window" => LENGTH;
        /// Degrees past the target.
        OVERSHOOT: Most = Measure::Overshoot.key() => Most(Measure::Overshoot);
        /// The same in percent of the step.
        OVERSHOOT_PCT: Most = Measure::OvershootPercent.key() => Most(Measure::OvershootPercent);
        /// Time until the process value stays in the band.
        SETTLING: Most = Measure::Settling.key() => Most(Measure::Settling);
        /// Time from 10 % to 90 % of the step.
        RISE: Most = Measure::Rise.key() => Most(Measure::Rise);
        /// Degrees off the target at the end, either way.
        FINAL_ERROR: Most = Measure::FinalError.key() => Most(Measure::FinalError);
        /// Integral of the absolute error, in degree seconds.
        IAE: Most = Measure::Iae.key() => Most(Measure::Iae);
    }
}

const LIMITS: [Key<Most>; 6] = [
    Keys::OVERSHOOT,
    Keys::OVERSHOOT_PCT,
    Keys::SETTLING,
    Keys::RISE,
    Keys::FINAL_ERROR,
    Keys::IAE,
];

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
        Section::of_file(path, text, Keys::SHAPE, |file| {
            file.require(&Keys::SCHEMA);
            let criteria = Self {
                name: name.to_owned(),
                unit: file.read(&Keys::UNIT).map(|unit| unit.word().to_owned()),
                band: file.read(&Keys::BAND),
                window_s: file.read(&Keys::WINDOW).map(|window| window.as_secs_f64()),
                limits: LIMITS.iter().filter_map(|key| file.read(key)).collect(),
            };
            if !LIMITS.iter().any(|key| file.has(key)) {
                let help = format!(
                    "set at least one of {}",
                    LIMITS.map(|key| key.name).join(", ")
                );
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
        let factor = if own == unit {
            1.0
        } else {
            let (own, other) = (Degrees::from_word(own)?, Degrees::from_word(unit)?);
            own.convert_f64(1.0, other, Quantity::Difference)
        };
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

/// The most a measure may be: a duration where it is one, else a number.
#[derive(Clone, Copy, Debug)]
pub(super) struct Most(Measure);

impl Kind for Most {
    type Value<'a> = Limit;

    fn read(&self, item: &Item<'_>) -> Option<Limit> {
        let most = if self.0.is_time() {
            LENGTH.read(item)?.as_secs_f64()
        } else {
            ABOVE_0.read(item)?
        };
        Some(Limit {
            measure: self.0,
            most,
        })
    }

    fn schema(&self) -> Value {
        if self.0.is_time() {
            LENGTH.schema()
        } else {
            ABOVE_0.schema()
        }
    }
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
