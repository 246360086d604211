//! One mistake in a file, and all of them together.

use std::fmt;

/// How many problems are printed; the rest are counted.
const SHOWN: usize = 100;

/// One mistake in a file.
#[derive(Clone, Debug, PartialEq, Eq)]
pub struct Problem {
    /// The file, as the person named it.
    pub file: String,
    /// Where in it; `None` concerns the whole file.
    pub place: Option<Place>,
    /// What is wrong.
    pub what: String,
    /// What to do about it.
    pub help: String,
}

/// Where in a file a problem is.
#[derive(Clone, Debug, PartialEq, Eq)]
pub struct Place {
    /// Line, counted from 1.
    pub line: usize,
    /// Character in the line, counted from 1.
    pub column: usize,
    /// The line itself, cut around the place if it is very long.
    pub shown: String,
    /// `^` under what is meant.
    pub pointer: String,
}

impl fmt::Display for Problem {
    fn fmt(&self, f: &mut fmt::Formatter<'_>) -> fmt::Result {
        match &self.place {
            None => writeln!(f, "{}: {}", self.file, self.what)?,
            Some(place) => {
                let Place { line, column, .. } = place;
                writeln!(f, "{}:{line}:{column}: {}", self.file, self.what)?;
                if !place.shown.is_empty() {
                    writeln!(f, "    {}", place.shown)?;
                    writeln!(f, "    {}", place.pointer)?;
                }
            }
        }
        write!(f, "help: {}", self.help)
    }
}

/// Everything that is wrong with a file (and with the files it names), at least one problem.
///
/// Prints every problem, separated by empty lines.
#[derive(Clone, Debug, PartialEq, Eq)]
pub struct FileErrors {
    problems: Vec<Problem>,
}

impl FileErrors {
    /// Errors from the problems found; the caller sees to it that there is at least one.
    pub(crate) fn new(problems: Vec<Problem>) -> Self {
        Self { problems }
    }

    /// One problem with a file as a whole.
    pub(crate) fn of_file(file: &str, what: impl Into<String>, help: impl Into<String>) -> Self {
        Self::new(vec![Problem {
            file: file.to_owned(),
            place: None,
            what: what.into(),
            help: help.into(),
        }])
    }

    /// How many there are.
    pub fn count(&self) -> usize {
        self.problems.len()
    }

    /// Each of them, by file and then by place.
    pub fn problems(&self) -> &[Problem] {
        &self.problems
    }

    pub(crate) fn into_problems(self) -> Vec<Problem> {
        self.problems
    }
}

impl fmt::Display for FileErrors {
    fn fmt(&self, f: &mut fmt::Formatter<'_>) -> fmt::Result {
        for (index, problem) in self.problems.iter().take(SHOWN).enumerate() {
            if index > 0 {
                f.write_str("\n\n")?;
            }
            problem.fmt(f)?;
        }
        match self.problems.len().saturating_sub(SHOWN) {
            0 => Ok(()),
            more => write!(f, "\n\nand {more} more problems"),
        }
    }
}

impl std::error::Error for FileErrors {}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn a_flood_of_problems_is_counted_instead_of_printed() {
        let one = FileErrors::of_file("a.toml", "bad", "mend it").into_problems();
        let errors = FileErrors::new(vec![one[0].clone(); SHOWN + 7]);
        assert_eq!(errors.to_string().matches("help:").count(), SHOWN);
        assert!(errors.to_string().ends_with("\n\nand 7 more problems"));
    }
}
