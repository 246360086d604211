//! One mistake in a file, and all of them together.

use std::fmt;

/// How many problems are kept and printed; the rest are counted.
pub(super) const KEPT: usize = 100;

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

/// Something that is allowed in a file and may still not be what was meant.
#[derive(Clone, Debug, PartialEq, Eq)]
pub struct Warning {
    /// A word for scripts.
    pub code: &'static str,
    /// The point it is about, or what else.
    pub about: String,
    /// Where, in words, and what to do about it.
    pub problem: Problem,
}

/// A [`Warning`] before its place is known.
#[derive(Debug)]
pub(crate) struct Doubt {
    pub(crate) code: &'static str,
    pub(crate) about: String,
    pub(crate) what: String,
    pub(crate) help: String,
}

/// Everything that is wrong with a file (and with the files it names), at least one problem.
///
/// Prints every problem, separated by empty lines; of a flood the first hundred and how many more.
#[derive(Clone, Debug, PartialEq, Eq)]
pub struct FileErrors {
    problems: Vec<Problem>,
    more: usize,
}

impl FileErrors {
    /// Errors from the problems found and the number of those left out; the caller sees to it that
    /// there is at least one.
    pub(super) fn new(problems: Vec<Problem>, more: usize) -> Self {
        Self { problems, more }
    }

    /// One problem with a file as a whole.
    pub(crate) fn of_file(file: &str, what: impl Into<String>, help: impl Into<String>) -> Self {
        let problem = Problem {
            file: file.to_owned(),
            place: None,
            what: what.into(),
            help: help.into(),
        };
        Self::new(vec![problem], 0)
    }

    /// How many there are.
    pub fn count(&self) -> usize {
        self.problems.len() + self.more
    }

    /// The first hundred of them, by file and then by place.
    pub fn problems(&self) -> &[Problem] {
        &self.problems
    }

    pub(super) fn into_parts(self) -> (Vec<Problem>, usize) {
        (self.problems, self.more)
    }
}

impl fmt::Display for FileErrors {
    fn fmt(&self, f: &mut fmt::Formatter<'_>) -> fmt::Result {
        for (index, problem) in self.problems.iter().enumerate() {
            if index > 0 {
                f.write_str("\n\n")?;
            }
            problem.fmt(f)?;
        }
        match self.more {
            0 => Ok(()),
            more => write!(f, "\n\nand {more} more problems"),
        }
    }
}

impl std::error::Error for FileErrors {}
