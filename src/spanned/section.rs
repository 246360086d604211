//! A table of the file: its keys, one asked for after the other.

use std::cell::RefCell;
use std::ops::Range;
use std::rc::Rc;

use toml::de::DeTable;

use super::item::Item;
use super::source::SourceFile;
use super::syntax;
use super::words::nearest;

/// A table of the file, with what it is called in messages.
///
/// Remembers which keys were asked for; [`finish`](Self::finish) notes every other one as unknown.
#[derive(Debug)]
pub(crate) struct Section<'a> {
    source: &'a SourceFile<'a>,
    /// What messages call it ("point 'pv'"); empty at the top of the file.
    subject: Rc<str>,
    table: &'a DeTable<'a>,
    span: Range<usize>,
    asked: RefCell<Vec<&'static str>>,
}

impl<'a> Section<'a> {
    /// Parses the file and gives what `read` makes of it.
    ///
    /// # Errors
    ///
    /// Every problem in the file.
    pub(crate) fn of_file<T>(
        name: &str,
        text: &str,
        read: impl FnOnce(&Section<'_>) -> Option<T>,
    ) -> Result<T, super::FileErrors> {
        let source = SourceFile::new(name, text);
        let table = syntax::parse(&source);
        let made = read(&Section::new(&source, "", table.get_ref(), 0..0));
        source.conclude(made)
    }

    pub(super) fn new(
        source: &'a SourceFile<'a>,
        subject: &str,
        table: &'a DeTable<'a>,
        span: Range<usize>,
    ) -> Self {
        Self {
            source,
            subject: subject.into(),
            table,
            span,
            asked: RefCell::default(),
        }
    }

    /// The file it stands in.
    pub(crate) fn source(&self) -> &'a SourceFile<'a> {
        self.source
    }

    /// The item under this key.
    pub(crate) fn get(&self, key: &'static str) -> Option<Item<'a>> {
        let mut asked = self.asked.borrow_mut();
        if !asked.contains(&key) {
            asked.push(key);
        }
        let (found, node) = self.table.get_key_value(key)?;
        let subject = Rc::clone(&self.subject);
        let name = found.get_ref();
        Some(Item::new(self.source, subject, name, found.span(), node))
    }

    /// What `how` makes of the item under this key; `None` if it is not there or wrong.
    pub(crate) fn read<T>(
        &self,
        key: &'static str,
        how: impl FnOnce(&Item<'a>) -> Option<T>,
    ) -> Option<T> {
        how(&self.get(key)?)
    }

    /// As [`read`](Self::read), for a key that must be there.
    pub(crate) fn require<T>(
        &self,
        key: &'static str,
        help: &str,
        how: impl FnOnce(&Item<'a>) -> Option<T>,
    ) -> Option<T> {
        let found = self.get(key);
        if found.is_none() {
            self.note_structure(&format!("'{key}' is missing"), help);
        }
        how(&found?)
    }

    /// Whether this key is in the file, right or wrong.
    pub(crate) fn has(&self, key: &'static str) -> bool {
        self.get(key).is_some()
    }

    /// Reads `schema`, which says how the file is to be understood.
    pub(crate) fn expect_schema(&self, known: i64) {
        let help = format!("begin the file with: schema = {known}");
        let written = self.require("schema", &help, |item| {
            Some((item.clone(), item.whole_number()?))
        });
        if let Some((item, number)) = written.filter(|(_, number)| *number != known) {
            let what = format!("schema {number} is not known to this version");
            let help = format!("this version reads schema {known}; a newer one may read {number}");
            item.note(&what, help);
        }
    }

    /// The table under this key.
    pub(crate) fn section(&self, key: &'static str, subject: &str) -> Option<Section<'a>> {
        self.get(key)?.section(subject)
    }

    /// Every key with its item, in the order of the file; for tables whose keys are names.
    pub(crate) fn entries(&self) -> Vec<Item<'a>> {
        let mut items: Vec<Item<'a>> = self
            .table
            .iter()
            .map(|(key, node)| {
                let subject = Rc::clone(&self.subject);
                Item::new(self.source, subject, key.get_ref(), key.span(), node)
            })
            .collect();
        items.sort_by_key(|item| item.key_span().start);
        items
    }

    /// Notes something that is wrong with the table as a whole.
    pub(crate) fn note_structure(&self, what: &str, help: &str) {
        let what = with_subject(&self.subject, what);
        self.source.note_structure(self.span.clone(), what, help);
    }

    /// Notes every key that nobody asked for.
    pub(crate) fn finish(&self) {
        let asked = self.asked.borrow();
        for item in self.entries() {
            if asked.iter().any(|known| *known == item.key()) {
                continue;
            }
            let known = || asked.iter().copied();
            let help = match nearest(item.key(), known()) {
                Some(near) => format!("did you mean '{near}'?"),
                None => format!("known here: {}", known().collect::<Vec<_>>().join(", ")),
            };
            let what = format!("unknown key '{}'", item.key());
            let what = with_subject(&self.subject, &what);
            self.source.note_structure(item.key_span(), what, help);
        }
    }
}

/// `what` with the subject before it, as all messages have it.
pub(super) fn with_subject(subject: &str, what: &str) -> String {
    if subject.is_empty() {
        what.to_owned()
    } else {
        format!("{subject}: {what}")
    }
}
