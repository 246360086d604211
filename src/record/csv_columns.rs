//! Which columns of somebody's CSV are the time, the process value, the setpoint and the output.

use std::path::Path;

use super::csv_cell::Counts;
use super::read_error::ReadError;

/// The columns of a plain CSV, by name; a name that is not given is guessed where only one column
/// can be meant.
#[derive(Clone, Debug, Default, PartialEq, Eq)]
pub struct CsvColumns {
    /// Time: RFC 3339, seconds, milliseconds or a spreadsheet's day numbers.
    pub time: Option<String>,
    /// Process value.
    pub pv: Option<String>,
    /// Setpoint; may be missing.
    pub setpoint: Option<String>,
    /// Output in percent; may be missing.
    pub output: Option<String>,
    /// Read on over damaged rows and count them.
    pub skip_bad: bool,
}

/// Where the columns are.
#[derive(Clone, Debug, PartialEq, Eq)]
pub(super) struct Places {
    pub(super) time: usize,
    pub(super) pv: usize,
    pub(super) setpoint: Option<usize>,
    pub(super) output: Option<usize>,
    /// What was guessed, in words.
    pub(super) assumed: Vec<String>,
}

/// One column a caller may name.
struct Wanted {
    what: &'static str,
    option: &'static str,
    /// Names that can only mean this, without a unit.
    common: &'static [&'static str],
}

const TIME: Wanted = Wanted {
    what: "time",
    option: "--time",
    common: &[
        "time",
        "t",
        "time_s",
        "elapsed_s",
        "seconds",
        "time_ms",
        "elapsed_ms",
        "milliseconds",
        "timestamp",
        "timestamp_ms",
        "datetime",
        "date_time",
    ],
};
const PV: Wanted = Wanted {
    what: "process value",
    option: "--pv",
    common: &["pv", "process_value", "measured_value"],
};
const SETPOINT: Wanted = Wanted {
    what: "setpoint",
    option: "--setpoint",
    common: &["sp", "setpoint", "set_point"],
};
const OUTPUT: Wanted = Wanted {
    what: "output",
    option: "--output",
    common: &["out", "output", "controller_output"],
};

/// Units that may follow a column's name.
const UNITS: [&str; 13] = [
    "degc", "degf", "k", "c", "f", "pct", "percent", "s", "°c", "°f", "%", "sec", "ms",
];

/// What numbers of a time column count, after its name.
pub(super) fn counts_of(column: &str) -> Counts {
    match split_unit(column) {
        (_, Some(unit)) if unit.eq_ignore_ascii_case("ms") => Counts::Milliseconds,
        (name, _) if name.eq_ignore_ascii_case("milliseconds") => Counts::Milliseconds,
        _ => Counts::Seconds,
    }
}

impl CsvColumns {
    /// Finds the columns in a header.
    pub(super) fn places(&self, file: &Path, header: &[String]) -> Result<Places, ReadError> {
        let mut assumed = Vec::new();
        let mut find = |wanted: &Wanted, named: &Option<String>| match named {
            Some(name) => place_of(file, header, wanted, name).map(Some),
            None => guess(file, header, wanted, &mut assumed),
        };
        let time = find(&TIME, &self.time)?;
        let pv = find(&PV, &self.pv)?;
        let (setpoint, output) = (
            find(&SETPOINT, &self.setpoint)?,
            find(&OUTPUT, &self.output)?,
        );
        Ok(Places {
            time: time.ok_or_else(|| missing(file, header, &TIME))?,
            pv: pv.ok_or_else(|| missing(file, header, &PV))?,
            setpoint,
            output,
            assumed,
        })
    }
}

impl CsvColumns {
    /// The columns other than the time that a caller named.
    pub(super) fn named_places(
        &self,
        file: &Path,
        header: &[String],
    ) -> Result<Vec<usize>, ReadError> {
        let wanted = [
            (&PV, &self.pv),
            (&SETPOINT, &self.setpoint),
            (&OUTPUT, &self.output),
        ];
        let place = |(wanted, name): (&Wanted, &String)| place_of(file, header, wanted, name);
        let named = wanted
            .into_iter()
            .filter_map(|(wanted, name)| Some((wanted, name.as_ref()?)));
        named.map(place).collect()
    }

    /// The column of the time: elapsed seconds if there are any.
    pub(super) fn time_place(&self, file: &Path, header: &[String]) -> Result<usize, ReadError> {
        if let Some(name) = &self.time {
            return place_of(file, header, &TIME, name);
        }
        let guessed = guess(file, header, &TIME, &mut Vec::new())?;
        guessed.ok_or_else(|| missing(file, header, &TIME))
    }
}

/// The column of exactly this name, or of this name in other letter case.
fn place_of(
    file: &Path,
    header: &[String],
    wanted: &Wanted,
    name: &str,
) -> Result<usize, ReadError> {
    if header.iter().filter(|column| *column == name).count() > 1 {
        return Err(twice(file, name));
    }
    let exactly = header.iter().position(|column| column == name);
    let alike = || {
        let same = |column: &String| column.eq_ignore_ascii_case(name);
        header.iter().position(same)
    };
    exactly.or_else(alike).ok_or_else(|| {
        ReadError::of_file(
            file,
            format!("has no column {name:?} for the {}", wanted.what),
            format!("its columns are {}", listed(header)),
        )
    })
}

fn twice(file: &Path, name: &str) -> ReadError {
    let what = format!("more than one column is called {name:?}");
    let help = "give each column a name of its own in the header";
    ReadError::of_row(file, 1, what, help)
}

fn guess(
    file: &Path,
    header: &[String],
    wanted: &Wanted,
    assumed: &mut Vec<String>,
) -> Result<Option<usize>, ReadError> {
    let mut fits: Vec<usize> = (0..header.len())
        .filter(|index| wanted.common.contains(&bare(&header[*index]).as_str()))
        .collect();
    prefer_elapsed(header, &mut fits);
    match fits[..] {
        [] => Ok(None),
        [one] => {
            assumed.push(format!(
                "column {:?} is taken as the {}",
                header[one], wanted.what
            ));
            Ok(Some(one))
        }
        [one, ..] if fits[1..].iter().any(|it| header[*it] == header[one]) => {
            Err(twice(file, &header[one]))
        }
        _ => {
            let names: Vec<String> = fits.iter().map(|index| header[*index].clone()).collect();
            Err(ReadError::of_file(
                file,
                format!("more than one column may be the {}", wanted.what),
                format!("name one with {}: {}", wanted.option, listed(&names)),
            ))
        }
    }
}

/// Elapsed seconds never bend; wall time beside them may, when a clock is set.
fn prefer_elapsed(header: &[String], fits: &mut Vec<usize>) {
    let elapsed = fits
        .iter()
        .copied()
        .find(|index| header[*index] == "elapsed_s");
    if let Some(elapsed) = elapsed {
        *fits = vec![elapsed];
    }
}

fn missing(file: &Path, header: &[String], wanted: &Wanted) -> ReadError {
    if let [only] = header {
        let what = format!("the header is one cell: {only:?}");
        let help = "comma, semicolon or tab must stand between cells; is it something else here?";
        return ReadError::of_row(file, 1, what, help);
    }
    ReadError::of_file(
        file,
        format!("has no column that is surely the {}", wanted.what),
        format!(
            "name it with {}; its columns are {}",
            wanted.option,
            listed(header)
        ),
    )
}

fn listed(names: &[String]) -> String {
    names.join(", ")
}

/// A column's name in small letters with `_` for anything else, without a unit at its end.
fn bare(column: &str) -> String {
    let (name, unit) = split_unit(column);
    // `time_s` and `elapsed_ms` are names of their own; a time without them is wall time.
    let name = match unit.map(str::to_lowercase).as_deref() {
        Some(unit @ ("s" | "ms")) => format!("{name}_{unit}"),
        _ => name.to_owned(),
    };
    name.trim().to_lowercase().replace([' ', '-'], "_")
}

/// A column's name and the unit it ends with: `pv_degC`, `PV (degC)`, `pv [%]`.
pub(super) fn split_unit(column: &str) -> (&str, Option<&str>) {
    let trimmed = column.trim();
    let open = trimmed.rfind(['(', '[', '_', '/', ' ']);
    let Some((name, rest)) = open.map(|at| trimmed.split_at(at)) else {
        return (trimmed, None);
    };
    let unit = rest
        .trim_start_matches(['(', '[', '_', '/', ' '])
        .trim_end_matches([')', ']']);
    if UNITS.contains(&unit.to_lowercase().as_str()) && !name.trim().is_empty() {
        return (name.trim_end(), Some(unit));
    }
    (trimmed, None)
}

#[cfg(test)]
mod tests {
    use super::*;

    fn places(columns: &CsvColumns, header: &[&str]) -> Result<Places, ReadError> {
        let header: Vec<String> = header.iter().map(|name| (*name).to_owned()).collect();
        columns.places(Path::new("oven.csv"), &header)
    }

    fn guessed(header: &[&str]) -> Result<Places, ReadError> {
        places(&CsvColumns::default(), header)
    }

    #[test]
    fn common_names_are_guessed_and_said() {
        let found = guessed(&["t", "pv", "sp", "out"]).unwrap();
        assert_eq!((found.time, found.pv), (0, 1));
        assert_eq!((found.setpoint, found.output), (Some(2), Some(3)));
        assert_eq!(
            found.assumed[1],
            "column \"pv\" is taken as the process value"
        );
    }

    #[test]
    fn units_and_capitals_do_not_hide_a_name() {
        let found = guessed(&["Output [%]", "PV (degC)", "Set Point", "Time"]).unwrap();
        assert_eq!((found.time, found.pv), (3, 1));
        assert_eq!((found.setpoint, found.output), (Some(2), Some(0)));
    }

    #[test]
    fn a_day_of_a_recording_is_read_by_its_elapsed_seconds() {
        let found = guessed(&["time", "elapsed_s", "state", "pv_degC", "sp_degC"]).unwrap();
        assert_eq!((found.time, found.pv, found.setpoint), (1, 3, Some(4)));
    }

    #[test]
    fn two_columns_that_fit_are_asked_about() {
        let error = guessed(&["t", "time", "pv"]).unwrap_err();
        assert_eq!(
            error.to_string(),
            "oven.csv: more than one column may be the time\nhelp: name one with --time: t, time"
        );
    }

    #[test]
    fn a_name_that_stands_twice_and_an_unknown_separator_are_named_with_the_row() {
        let named = CsvColumns {
            pv: Some("zone".to_owned()),
            ..CsvColumns::default()
        };
        let error = places(&named, &["t", "zone", "zone"]).unwrap_err();
        assert_eq!(
            error.to_string(),
            "oven.csv:1: more than one column is called \"zone\"\n\
             help: give each column a name of its own in the header"
        );
        let error = guessed(&["t|pv|sp"]).unwrap_err();
        assert_eq!(
            error.to_string(),
            "oven.csv:1: the header is one cell: \"t|pv|sp\"\n\
             help: comma, semicolon or tab must stand between cells; is it something else here?"
        );
    }

    #[test]
    fn milliseconds_are_known_by_the_name() {
        let found = guessed(&["Time (ms)", "pv"]).unwrap();
        assert_eq!((found.time, found.pv), (0, 1));
        for (name, counts) in [
            ("Time (ms)", Counts::Milliseconds),
            ("elapsed_ms", Counts::Milliseconds),
            ("Milliseconds", Counts::Milliseconds),
            ("time_s", Counts::Seconds),
            ("time", Counts::Seconds),
        ] {
            assert_eq!(counts_of(name), counts, "{name}");
        }
    }

    #[test]
    fn a_missing_column_lists_those_there_are() {
        let error = guessed(&["time", "zone 1", "zone 2"]).unwrap_err();
        assert_eq!(
            error.to_string(),
            "oven.csv: has no column that is surely the process value\n\
             help: name it with --pv; its columns are time, zone 1, zone 2"
        );
        let named = CsvColumns {
            pv: Some("zone 3".to_owned()),
            ..CsvColumns::default()
        };
        let error = places(&named, &["time", "zone 1"]).unwrap_err();
        assert_eq!(
            error.to_string(),
            "oven.csv: has no column \"zone 3\" for the process value\n\
             help: its columns are time, zone 1"
        );
    }
}
