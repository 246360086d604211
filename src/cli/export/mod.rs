//! `emberline export`: a source as one file for a spreadsheet.

mod sheet;

use std::fs;
use std::io::{self, Write as _};
use std::path::{Path, PathBuf};

use serde_json::json;

use self::sheet::{Decimal, Failure, Separator, Sheet, Written};
use super::reading::ReadingArgs;
use super::{Exit, Stop, whole_file};
use crate::record::{Table, is_recording, tables};

/// Rows that common spreadsheet programs can show on a sheet (from memory).
const SHEET_ROWS: u64 = 1_048_576;

/// One file for spreadsheets of any country
///
/// Writes every row with all its columns under their own names; values stay digit for digit as they
/// were recorded. Several loops go into one file, one below the other, with a column 'loop' in front:
/// that is what filters and pivot tables want. --loop takes a single one, without that column.
#[derive(Debug, clap::Args)]
#[command(after_help = EXAMPLES, mut_arg("to", |end| end.long("until")))]
pub(super) struct ExportArgs {
    /// A recording, a loop's folder in it, or any CSV
    source: PathBuf,
    /// The file to write: .csv, or .tsv (tabs between cells)
    #[arg(long = "to", value_name = "FILE")]
    file: PathBuf,
    /// Decimal sign of numbers; with 'comma', semicolons stand between cells
    #[arg(long, value_name = "SIGN", value_enum, default_value_t)]
    decimal: Decimal,
    /// What stands between cells; else what the ending and the decimal sign ask for
    #[arg(long, value_name = "SIGN", value_enum)]
    separator: Option<Separator>,
    /// Times of day here (2027-03-04 07:00:00.012) instead of as they were written; when clocks are
    /// set back in autumn an hour comes twice
    #[arg(long)]
    local_time: bool,
    /// What was written, as one JSON document
    #[arg(long)]
    json: bool,
    // Its --to is --until here, because --to is the file.
    #[command(flatten)]
    reading: ReadingArgs,
}

const EXAMPLES: &str = "\
Of a plain CSV all columns are written, or only those that --time, --pv, --setpoint and --output name.

Examples:
  emberline export 2027-03-04T06-00-00Z_annealer --to annealer.csv
  emberline export 2027-03-04T06-00-00Z_annealer --to annealer.csv --decimal comma --local-time
  emberline export 2027-03-04T06-00-00Z_annealer --loop annealer-top --from 1h --until 3h --to annealer.tsv";

pub(super) fn run(args: &ExportArgs) -> Result<Exit, Stop> {
    let separator = separator(args)?;
    let tables = chosen(args, tables(&args.source, args.reading.skip_bad)?)?;
    refuse_own_source(&args.source, &tables, &args.file)?;
    let sheet = Sheet {
        tables: &tables,
        reading: &args.reading,
        decimal: args.decimal,
        separator,
        local_time: args.local_time,
    };
    let written = whole_file::stream(&args.file, |out| sheet.write(out));
    let written = written.map_err(|failure| match failure {
        Failure::Read(error) => error.into(),
        Failure::Wish(text) => wrong_use(text),
        Failure::Write(error) => {
            let text = format!(
                "{}: could not be written: {error}\n\
                 help: give --to a file in a folder that exists and may be written to",
                args.file.display()
            );
            Stop::new(Exit::Files, text)
        }
    })?;
    tell(args, &tables, &written)?;
    Ok(Exit::Done)
}

fn tell(args: &ExportArgs, tables: &[Table], written: &Written) -> io::Result<()> {
    let mut told = io::stderr().lock();
    if written.left_out > 0 {
        writeln!(told, "note: {} damaged rows are left out", written.left_out)?;
    }
    if written.zone_is_assumed {
        writeln!(
            told,
            "note: times do not say their zone and are taken as UTC"
        )?;
    }
    if written.rows >= SHEET_ROWS {
        writeln!(
            told,
            "note: {} rows are more than most spreadsheets show ({SHEET_ROWS}); --from and --until cut the record, --loop takes one loop",
            written.rows
        )?;
    }
    let mut out = io::stdout().lock();
    if !args.json {
        return writeln!(out, "{}: {} rows", args.file.display(), written.rows);
    }
    let loops: Vec<&str> = tables.iter().map(|it| it.name.as_str()).collect();
    let document = json!({
        "file": args.file,
        "rows": written.rows,
        "left_out": written.left_out,
        "loops": loops,
        "columns": written.columns,
    });
    writeln!(out, "{document}")
}

/// What stands between cells, after the file's ending and the options.
fn separator(args: &ExportArgs) -> Result<Separator, Stop> {
    let file = args.file.display();
    let ending = args.file.extension().unwrap_or_default().to_string_lossy();
    let own = match (ending.to_lowercase().as_str(), args.decimal) {
        ("csv", Decimal::Point) => Separator::Comma,
        ("csv", Decimal::Comma) => Separator::Semicolon,
        ("tsv", _) => Separator::Tab,
        _ => {
            return Err(wrong_use(format!(
                "{file}: its ending does not say what to write\n\
                 help: let it end in .csv, or in .tsv for tabs between cells; spreadsheets open both"
            )));
        }
    };
    let separator = args.separator.unwrap_or(own);
    if own == Separator::Tab && separator != Separator::Tab {
        return Err(wrong_use(format!(
            "{file}: a .tsv has tabs between its cells\n\
             help: leave out --separator, or let the file end in .csv"
        )));
    }
    if separator == Separator::Comma && args.decimal == Decimal::Comma {
        return Err(wrong_use(
            "decimal commas cannot be told from commas between cells\n\
             help: leave out --separator (then it is the semicolon), or --decimal comma",
        ));
    }
    Ok(separator)
}

/// The tables of the loop that was asked for, or all.
fn chosen(args: &ExportArgs, mut tables: Vec<Table>) -> Result<Vec<Table>, Stop> {
    let Some(name) = &args.reading.only else {
        return Ok(tables);
    };
    let names: Vec<String> = tables.iter().map(|it| it.name.clone()).collect();
    tables.retain(|it| it.name == *name);
    if tables.is_empty() {
        return Err(wrong_use(format!(
            "{} has no loop {name:?}\nhelp: its loops are {}",
            args.source.display(),
            names.join(", ")
        )));
    }
    Ok(tables)
}

/// A recording stays as it was written, and a source is never written over.
fn refuse_own_source(source: &Path, tables: &[Table], target: &Path) -> Result<(), Stop> {
    let folder = match target.parent() {
        Some(parent) if !parent.as_os_str().is_empty() => parent,
        _ => Path::new("."),
    };
    // A folder that is not there holds no source; writing will say that it is missing.
    let Ok(folder) = fs::canonicalize(folder) else {
        return Ok(());
    };
    let whole = fs::canonicalize(target)
        .unwrap_or_else(|_| folder.join(target.file_name().unwrap_or_default()));
    let mut files = tables.iter().flat_map(|it| &it.files);
    let is_source = files.any(|it| fs::canonicalize(it).is_ok_and(|it| it == whole));
    if !is_source && !whole.ancestors().any(is_recording) {
        return Ok(());
    }
    Err(wrong_use(format!(
        "{}: this would change what is exported ({}) or another recording\n\
         help: give --to a file outside of it",
        target.display(),
        source.display()
    )))
}

fn wrong_use(text: impl std::fmt::Display) -> Stop {
    Stop::new(Exit::WrongUse, text)
}
