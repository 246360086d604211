//! A file being read, and what has been found wrong with it so far.

use std::cell::RefCell;
use std::collections::BTreeSet;
use std::ops::Range;

use super::excerpt::excerpt;
use super::problem::{Doubt, FileErrors, KEPT, Place, Problem, Warning};

/// A problem as noted; where it is in the file is worked out for those that are kept.
#[derive(Debug)]
struct Note {
    span: Range<usize>,
    what: What,
}

#[derive(Debug)]
enum What {
    Here {
        what: String,
        help: String,
    },
    /// In a file that is named here.
    There(Problem),
    /// So many more in a file that is named here.
    More(usize),
}

/// A file's text and the problems noted on it.
///
/// Noting takes `&self`, so that every part of the file can be read side by side.
#[derive(Debug)]
pub(crate) struct SourceFile<'t> {
    name: &'t str,
    text: &'t str,
    line_starts: Vec<usize>,
    noted: RefCell<Vec<Note>>,
    doubts: RefCell<Vec<(Option<Range<usize>>, Doubt)>>,
    /// Lines that are no good TOML.
    broken: RefCell<BTreeSet<usize>>,
}

impl<'t> SourceFile<'t> {
    /// A file called `name` in messages.
    pub(crate) fn new(name: &'t str, text: &'t str) -> Self {
        let ends = text.match_indices('\n').map(|(at, _)| at + 1);
        Self {
            name,
            text,
            line_starts: std::iter::once(0).chain(ends).collect(),
            noted: RefCell::default(),
            doubts: RefCell::default(),
            broken: RefCell::default(),
        }
    }

    pub(crate) fn text(&self) -> &'t str {
        self.text
    }

    /// Notes something wrong at these bytes, unless their line is no good TOML: what was made of
    /// such a line is a guess, and may stand nowhere.
    pub(crate) fn note(
        &self,
        span: Range<usize>,
        what: impl Into<String>,
        help: impl Into<String>,
    ) {
        let is_guess = self.is_broken() && span.is_empty();
        if !is_guess && !self.broken.borrow().contains(&self.line_of(span.start)) {
            self.push(span, what, help);
        }
    }

    /// Notes something that is no good TOML.
    pub(super) fn note_syntax(
        &self,
        span: Range<usize>,
        what: impl Into<String>,
        help: impl Into<String>,
    ) {
        self.broken.borrow_mut().insert(self.line_of(span.start));
        self.push(span, what, help);
    }

    fn push(&self, span: Range<usize>, what: impl Into<String>, help: impl Into<String>) {
        let what = What::Here {
            what: what.into(),
            help: help.into(),
        };
        self.noted.borrow_mut().push(Note { span, what });
    }

    /// Notes something wrong with the structure: a missing or unknown key, two points that collide.
    ///
    /// Silent while the file is no good TOML: such a problem may only follow from that.
    pub(crate) fn note_structure(
        &self,
        span: Range<usize>,
        what: impl Into<String>,
        help: impl Into<String>,
    ) {
        if !self.is_broken() {
            self.note(span, what, help);
        }
    }

    /// Notes something that is allowed and may still not be meant; `None` concerns the whole file.
    pub(super) fn doubt(&self, span: Option<Range<usize>>, doubt: Doubt) {
        self.doubts.borrow_mut().push((span, doubt));
    }

    /// Takes over the problems of a file that is named at these bytes.
    pub(crate) fn adopt(&self, span: &Range<usize>, errors: FileErrors) {
        let (problems, more) = errors.into_parts();
        let theirs = problems.into_iter().map(What::There);
        let notes = theirs.chain([What::More(more)]).map(|what| Note {
            span: span.clone(),
            what,
        });
        self.noted.borrow_mut().extend(notes);
    }

    /// Whether nothing has been found wrong so far.
    pub(crate) fn is_sound(&self) -> bool {
        self.noted.borrow().is_empty()
    }

    /// Whether the text is no good TOML, so that parts of it may be missing.
    pub(crate) fn is_broken(&self) -> bool {
        !self.broken.borrow().is_empty()
    }

    /// The line these bytes are on, counted from 0.
    pub(super) fn line_of(&self, at: usize) -> usize {
        self.line_starts.partition_point(|start| *start <= at) - 1
    }

    /// The text of a line counted from 0, without its end.
    pub(super) fn line(&self, line: usize) -> &'t str {
        let rest = self.text.get(self.start_of(line)..).unwrap_or_default();
        rest.lines().next().unwrap_or_default()
    }

    fn start_of(&self, line: usize) -> usize {
        self.line_starts.get(line).copied().unwrap_or_default()
    }

    fn place(&self, span: Range<usize>) -> Place {
        let at = span.start.min(self.text.len());
        let line = self.line_of(at);
        let start = self.start_of(line);
        let before = self.text.get(start..at).unwrap_or_default();
        let inside = at - start..span.end.max(at) - start;
        let (shown, pointer) = excerpt(self.line(line), inside);
        Place {
            line: line + 1,
            column: before.chars().count() + 1,
            shown,
            pointer,
        }
    }

    /// What was read and what may not be meant, if nothing is wrong with the file.
    ///
    /// # Errors
    ///
    /// Every problem noted, in the order of the file.
    pub(crate) fn conclude<T>(self, read: Option<T>) -> Result<(T, Vec<Warning>), FileErrors> {
        let (problems, more) = self.problems();
        match read {
            Some(read) if problems.is_empty() => Ok((read, self.warnings())),
            _ if problems.is_empty() => Err(FileErrors::of_file(
                self.name,
                "cannot be understood",
                "compare it with a working example",
            )),
            _ => Err(FileErrors::new(problems, more)),
        }
    }

    /// The first problems, in the order of the file, and the number of the others.
    fn problems(&self) -> (Vec<Problem>, usize) {
        let mut noted = self.noted.take();
        noted.sort_by_key(|note| note.span.start);
        let mut problems = Vec::new();
        let mut more = 0;
        for note in noted {
            match note.what {
                What::More(number) => more += number,
                _ if problems.len() == KEPT => more += 1,
                What::There(problem) => problems.push(problem),
                What::Here { what, help } => problems.push(Problem {
                    file: self.name.to_owned(),
                    place: Some(self.place(note.span)),
                    what,
                    help,
                }),
            }
        }
        (problems, more)
    }

    /// The doubts in the order of the file, those about the whole file behind.
    fn warnings(&self) -> Vec<Warning> {
        let mut doubts = self.doubts.take();
        doubts.sort_by_key(|(span, _)| span.as_ref().map_or(usize::MAX, |span| span.start));
        let warning = |(span, doubt): (Option<Range<usize>>, Doubt)| Warning {
            code: doubt.code,
            about: doubt.about,
            problem: Problem {
                file: self.name.to_owned(),
                place: span.map(|span| self.place(span)),
                what: doubt.what,
                help: doubt.help,
            },
        };
        doubts.into_iter().map(warning).collect()
    }
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn a_place_is_counted_in_characters_from_one() {
        let source = SourceFile::new("oven.toml", "a = 1\r\ntext = \"°C\" x\r\n");
        let at = source.text().find('x').unwrap();
        let x = source.text()[at + 1..].find('x').unwrap() + at + 1;
        source.note(x..x + 1, "what", "help");
        let errors = source.conclude(Some(())).unwrap_err();
        assert_eq!(
            errors.to_string(),
            "oven.toml:2:13: what\n    text = \"°C\" x\n                ^\nhelp: help"
        );
    }

    #[test]
    fn problems_come_in_the_order_of_the_file() {
        let source = SourceFile::new("a", "one\ntwo\n");
        source.note(4..7, "second", "");
        source.note(0..3, "first", "");
        let errors = source.conclude(Some(())).unwrap_err();
        let order: Vec<_> = errors.problems().iter().map(|p| p.what.as_str()).collect();
        assert_eq!(order, ["first", "second"]);
    }
}
