//! Options of every command that reads a SOURCE: which columns, which loop, which part of it.

use std::borrow::Cow;
use std::io::{self, Write as _};
use std::path::Path;
use std::str::FromStr;
use std::time::Duration;

use chrono::{DateTime, Utc};

use super::{Exit, Stop};
use crate::record::{CsvColumns, LoopRecord, OpenLoop, OpenSource, Source, WallClock, open_source};

/// How to read a SOURCE and which part of it counts.
#[derive(Clone, Debug, Default, clap::Args)]
pub struct ReadingArgs {
    /// Column of the time in a plain CSV: RFC 3339, seconds, milliseconds or day numbers
    #[arg(long, value_name = "COLUMN")]
    pub time: Option<String>,
    /// Column of the process value in a plain CSV
    #[arg(long, value_name = "COLUMN")]
    pub pv: Option<String>,
    /// Column of the setpoint in a plain CSV
    #[arg(long, value_name = "COLUMN")]
    pub setpoint: Option<String>,
    /// Column of the output in a plain CSV
    #[arg(long, value_name = "COLUMN")]
    pub output: Option<String>,
    /// Only this loop of the recording
    #[arg(long = "loop", value_name = "NAME")]
    pub only: Option<String>,
    /// Leave out what is before: RFC 3339, or a duration from the first row
    #[arg(long, value_name = "TIME")]
    pub from: Option<When>,
    /// Leave out what is after: RFC 3339, or a duration from the first row
    #[arg(long, value_name = "TIME")]
    pub to: Option<When>,
    /// Read on over damaged rows, also of events and settings, and count them
    #[arg(long)]
    pub skip_bad: bool,
}

/// A time on a record's axis, as a person names it.
#[derive(Clone, Copy, Debug, PartialEq)]
pub enum When {
    /// Wall time.
    Wall(DateTime<Utc>),
    /// So long after the record's first row, whatever that row says.
    AfterStart(Duration),
    /// Seconds as the record itself counts them.
    Seconds(f64),
}

impl FromStr for When {
    type Err = String;

    fn from_str(text: &str) -> Result<Self, String> {
        if let Ok(time) = DateTime::parse_from_rfc3339(text) {
            return Ok(Self::Wall(time.to_utc()));
        }
        if let Some(seconds) = text.parse().ok().filter(|s: &f64| s.is_finite()) {
            return Ok(Self::Seconds(seconds));
        }
        let duration = humantime::parse_duration(text);
        duration.map(Self::AfterStart).map_err(|_| {
            "a time is RFC 3339 (2027-03-04T06:00:00Z), a duration from the start (1h 30m) \
             or a number of seconds"
                .to_owned()
        })
    }
}

impl When {
    /// The time in the record's own seconds.
    ///
    /// # Errors
    /// Wall time for a record that has none, in words.
    pub(super) fn seconds(self, record: &LoopRecord) -> Result<f64, String> {
        let first_s = record.first_s.unwrap_or_default();
        self.on_axis(&record.name, first_s, record.wall.as_ref())
    }

    /// The same for a record of which only its first row and wall time are known.
    pub(super) fn on_axis(
        self,
        name: &str,
        first_s: f64,
        wall: Option<&WallClock>,
    ) -> Result<f64, String> {
        match self {
            Self::Seconds(seconds) => Ok(seconds),
            Self::AfterStart(duration) => Ok(first_s + duration.as_secs_f64()),
            Self::Wall(time) => {
                let wall = wall.ok_or_else(|| {
                    format!(
                        "{name:?} has no wall time, only seconds\nhelp: give a number of seconds, or a duration from the start"
                    )
                })?;
                Ok(wall.elapsed_s(time))
            }
        }
    }
}

impl ReadingArgs {
    /// The columns for a plain CSV.
    pub fn columns(&self) -> CsvColumns {
        CsvColumns {
            time: self.time.clone(),
            pv: self.pv.clone(),
            setpoint: self.setpoint.clone(),
            output: self.output.clone(),
            skip_bad: self.skip_bad,
        }
    }

    /// Reads a recording, a loop's folder in it, or a CSV; says on standard error what had to be
    /// assumed or left out.
    pub(super) fn open(&self, path: &Path) -> Result<Source, Stop> {
        let (source, notes) = open_source(path, &self.columns())?.read()?;
        let mut told = io::stderr().lock();
        for sentence in notes {
            writeln!(told, "note: {sentence}")?;
        }
        Ok(source)
    }

    /// Opens the same without reading its rows, and leaves only the loops that count; says on standard
    /// error what had to be assumed or left out.
    pub(super) fn open_rows(&self, path: &Path) -> Result<OpenSource, Stop> {
        let mut source = open_source(path, &self.columns())?;
        let mut told = io::stderr().lock();
        for sentence in &source.notes {
            writeln!(told, "note: {sentence}")?;
        }
        let names: Vec<String> = source.loops.iter().map(|one| one.name.clone()).collect();
        source.loops.retain(|one| self.wants(&one.name));
        if source.loops.is_empty() {
            let text = self.no_such_loop(&source.name, &names);
            return Err(Stop::new(Exit::WrongUse, text));
        }
        Ok(source)
    }

    /// From when to when its rows count, in its seconds.
    ///
    /// # Errors
    /// Wall time where there is none, in words.
    pub(super) fn ends(&self, one: &OpenLoop) -> Result<(f64, f64), String> {
        let first_s = one.first_s.unwrap_or_default();
        let at = |when: Option<When>, otherwise: f64| {
            when.map_or(Ok(otherwise), |when| {
                when.on_axis(&one.name, first_s, one.wall.as_ref())
            })
        };
        Ok((
            at(self.from, f64::NEG_INFINITY)?,
            at(self.to, f64::INFINITY)?,
        ))
    }

    fn wants(&self, name: &str) -> bool {
        self.only.as_ref().is_none_or(|only| only == name)
    }

    fn no_such_loop(&self, source: &str, names: &[impl AsRef<str>]) -> String {
        let names: Vec<&str> = names.iter().map(AsRef::as_ref).collect();
        format!(
            "{source} has no loop {:?}\nhelp: its loops are {}",
            self.only.as_deref().unwrap_or_default(),
            names.join(", ")
        )
    }

    /// The loops that count, cut to the part that counts.
    ///
    /// # Errors
    /// A loop that is not there, or wall time where there is none, in words.
    pub(super) fn choose<'a>(
        &self,
        source: &'a Source,
    ) -> Result<Vec<Cow<'a, LoopRecord>>, String> {
        let wanted = |record: &&LoopRecord| self.wants(&record.name);
        let chosen: Vec<&LoopRecord> = source.loops.iter().filter(wanted).collect();
        if self.only.is_some() && chosen.is_empty() {
            let names: Vec<&str> = source.loops.iter().map(|one| one.name.as_str()).collect();
            return Err(self.no_such_loop(&source.name, &names));
        }
        chosen.into_iter().map(|record| self.part(record)).collect()
    }

    /// The one loop of a source that is meant; `which` source it is, for an error.
    pub(super) fn only_loop<'a>(
        &self,
        which: &str,
        source: &'a Source,
    ) -> Result<Cow<'a, LoopRecord>, Stop> {
        let wrong_use = |text: String| Stop::new(Exit::WrongUse, text);
        let mut chosen = self.choose(source).map_err(wrong_use)?;
        if chosen.len() == 1 {
            return Ok(chosen.remove(0));
        }
        let names: Vec<&str> = source.loops.iter().map(|one| one.name.as_str()).collect();
        Err(wrong_use(format!(
            "{which}: {} has {} loops\nhelp: name one with --loop: {}",
            source.name,
            names.len(),
            names.join(", ")
        )))
    }

    fn part<'a>(&self, record: &'a LoopRecord) -> Result<Cow<'a, LoopRecord>, String> {
        if self.from.is_none() && self.to.is_none() {
            return Ok(Cow::Borrowed(record));
        }
        let at = |when: Option<When>, otherwise: f64| {
            when.map_or(Ok(otherwise), |when| when.seconds(record))
        };
        let from_s = at(self.from, f64::NEG_INFINITY)?;
        let to_s = at(self.to, f64::INFINITY)?;
        Ok(Cow::Owned(record.clone().cut(from_s, to_s)))
    }
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn a_time_is_read_in_all_three_ways() {
        let wall = "2027-03-04T07:00:00+01:00".parse::<When>().unwrap();
        assert_eq!(wall, When::Wall("2027-03-04T06:00:00Z".parse().unwrap()));
        let later = "1h 30m".parse::<When>().unwrap();
        assert_eq!(later, When::AfterStart(Duration::from_mins(90)));
        assert_eq!("-12.5".parse::<When>(), Ok(When::Seconds(-12.5)));
        assert!("NaN".parse::<When>().is_err());
        assert!("tomorrow".parse::<When>().unwrap_err().contains("RFC 3339"));
    }
}
