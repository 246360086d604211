//! `emberline map new`: a register map to begin with.

use std::fs::File;
use std::io::{self, Write as _};
use std::path::{Path, PathBuf};

use clap::Args;

use crate::cli::{Exit, Stop};

/// Everything a map can say, most of it as remarks.
const START: &str = include_str!("start.toml");

/// Write a register map to begin with, with remarks on everything a map can say.
///
/// Example: emberline map new --out maps/oven.toml
#[derive(Debug, Args)]
pub(super) struct NewArgs {
    /// The file to write; standard output unless given. What is there already stays.
    #[arg(long, value_name = "FILE")]
    out: Option<PathBuf>,
}

pub(super) fn run(args: &NewArgs) -> Result<Exit, Stop> {
    match &args.out {
        Some(path) => {
            write_new(path).map_err(|error| not_written(path, &error))?;
            // A courtesy; a closed standard error stops nothing.
            let _ = writeln!(
                io::stderr(),
                "{} is written; when it is filled in: emberline map check {0}",
                path.display()
            );
        }
        None => io::stdout().lock().write_all(START.as_bytes())?,
    }
    Ok(Exit::Done)
}

fn write_new(path: &Path) -> io::Result<()> {
    let mut file = File::create_new(path)?;
    file.write_all(START.as_bytes())
}

fn not_written(path: &Path, error: &io::Error) -> Stop {
    let path = path.display();
    if error.kind() == io::ErrorKind::AlreadyExists {
        let text =
            format!("{path} is there already\nhelp: name another file; nothing is overwritten");
        return Stop::new(Exit::WrongUse, text);
    }
    let help = "name a file in a folder that exists and may be written to";
    Stop::new(
        Exit::Files,
        format!("{path} could not be written: {error}\nhelp: {help}"),
    )
}

#[cfg(test)]
mod tests {
    use super::*;
    use crate::map::Map;

    #[test]
    fn the_start_is_a_map_with_nothing_doubtful_in_it() {
        let (_, warnings) = Map::check(START, "start.toml").unwrap_or_else(|all| panic!("{all}"));
        assert_eq!(warnings, []);
    }

    /// A key in a remark stands right behind the `#`.
    #[test]
    fn every_key_in_a_remark_may_be_put_to_use() {
        let is_remark = |line: &str| {
            line.starts_with('#')
                && !line.starts_with("# ")
                && !line.starts_with("#:")
                && line != "#"
        };
        let lines: Vec<&str> = START.lines().collect();
        let remarks = lines.iter().filter(|line| is_remark(line)).count();
        assert!(remarks >= 20, "only {remarks} keys stand in remarks");
        for (at, line) in lines.iter().enumerate().filter(|(_, line)| is_remark(line)) {
            let mut used = lines.clone();
            used[at] = line.trim_start_matches('#');
            let errors = Map::parse(&used.join("\n"), "start.toml").err();
            assert!(errors.is_none(), "{line}:\n{}", errors.unwrap());
        }
    }
}
