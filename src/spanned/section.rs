//! A table of the file: its keys, one asked for after the other.

use std::cell::RefCell;
use std::ops::Range;
use std::rc::Rc;

use toml::de::DeTable;

use super::item::{Item, items_of};
use super::key::{Alternatives, AnyKey, Key, Kind, Shape};
use super::problem::{Doubt, FileErrors, Warning};
use super::source::SourceFile;
use super::syntax;
use super::words::nearest;

/// A table of the file, with what it is called in messages.
pub(crate) struct Section<'a> {
    source: &'a SourceFile<'a>,
    /// What messages call it ("point 'pv'"); empty at the top of the file.
    subject: Rc<str>,
    table: &'a DeTable<'a>,
    span: Range<usize>,
    shape: Shape,
    /// Guards against a key of the shape that no reader looks at.
    asked: RefCell<Vec<&'static str>>,
}

impl<'a> Section<'a> {
    /// Parses a file of this shape and gives what `read` makes of it.
    ///
    /// # Errors
    ///
    /// Every problem in the file.
    pub(crate) fn of_file<T>(
        name: &str,
        text: &str,
        shape: Shape,
        read: impl FnOnce(&Section<'_>) -> Option<T>,
    ) -> Result<T, FileErrors> {
        Ok(Self::of_file_with_warnings(name, text, shape, read)?.0)
    }

    /// As [`of_file`](Self::of_file), with what may not be meant.
    pub(crate) fn of_file_with_warnings<T>(
        name: &str,
        text: &str,
        shape: Shape,
        read: impl FnOnce(&Section<'_>) -> Option<T>,
    ) -> Result<(T, Vec<Warning>), FileErrors> {
        let source = SourceFile::new(name, text);
        let table = syntax::parse(&source);
        let made = read(&Section::new(&source, "", table.get_ref(), 0..0, shape));
        source.conclude(made)
    }

    pub(super) fn new(
        source: &'a SourceFile<'a>,
        subject: &str,
        table: &'a DeTable<'a>,
        span: Range<usize>,
        shape: Shape,
    ) -> Self {
        Self {
            source,
            subject: subject.into(),
            table,
            span,
            shape,
            asked: RefCell::default(),
        }
    }

    /// The file it stands in.
    pub(crate) fn source(&self) -> &'a SourceFile<'a> {
        self.source
    }

    /// The item under this key.
    pub(crate) fn get(&self, key: &dyn AnyKey) -> Option<Item<'a>> {
        let name = key.name();
        debug_assert!(
            self.shape.names().any(|known| known == name),
            "{name} is in no schema"
        );
        self.asked.borrow_mut().push(name);
        self.item(name)
    }

    fn item(&self, name: &str) -> Option<Item<'a>> {
        let (key, node) = self.table.get_key_value(name)?;
        let subject = Rc::clone(&self.subject);
        Some(Item::new(
            self.source,
            subject,
            key.get_ref(),
            key.span(),
            node,
        ))
    }

    /// The value under this key; `None` if it is not there or wrong.
    pub(crate) fn read<K: Kind>(&self, key: &Key<K>) -> Option<K::Value<'a>> {
        key.kind.read(&self.get(key)?)
    }

    /// As [`read`](Self::read), for a key that must be there.
    pub(crate) fn require<K: Kind>(&self, key: &Key<K>) -> Option<K::Value<'a>> {
        let found = self.get(key);
        if found.is_none() {
            self.note_structure(&format!("'{}' is missing", key.name), key.help());
        }
        key.kind.read(&found?)
    }

    /// Whether this key is in the file, right or wrong.
    pub(crate) fn has(&self, key: &dyn AnyKey) -> bool {
        self.get(key).is_some()
    }

    /// Those of these keys that are in the file.
    pub(crate) fn present(&self, keys: &'static [&'static str]) -> Vec<Item<'a>> {
        self.asked.borrow_mut().extend(keys);
        keys.iter().filter_map(|key| self.item(key)).collect()
    }

    /// Whether more than one of the alternatives is in the file, which is noted.
    pub(crate) fn contradicts(&self, among: &Alternatives) -> bool {
        let present = self.present(among.keys);
        let [first, second, ..] = present.as_slice() else {
            return false;
        };
        let (first, key) = (first.key(), second.key());
        let what = format!("'{first}' and '{key}' contradict each other");
        second.note_key_structure(&what, among.help);
        true
    }

    /// Notes something that is wrong with the table as a whole.
    pub(crate) fn note_structure(&self, what: &str, help: &str) {
        let what = with_subject(&self.subject, what);
        self.source.note_structure(self.span.clone(), what, help);
    }

    /// Notes that the value under a key does not go with the rest of the file; where the key is not
    /// there, the table does not.
    pub(crate) fn note_at(&self, key: &dyn AnyKey, what: &str, help: &str) {
        match self.get(key) {
            Some(item) => item.note_structure(what, help),
            None => self.note_structure(what, help),
        }
    }

    /// As [`note_at`](Self::note_at), about something that may not be meant.
    pub(crate) fn doubt_at(&self, key: &dyn AnyKey, doubt: Doubt) {
        let span = self.get(key).map_or(self.span.clone(), |item| item.span());
        let what = with_subject(&self.subject, &doubt.what);
        self.source.doubt(Some(span), Doubt { what, ..doubt });
    }

    /// Notes something about the whole file that may not be meant.
    pub(crate) fn doubt_file(&self, doubt: Doubt) {
        self.source.doubt(None, doubt);
    }

    /// Notes every key that is not of the table's shape.
    pub(crate) fn finish(&self) {
        for item in items_of(self.source, &self.subject, self.table) {
            let known = || self.shape.names();
            if known().any(|known| known == item.key()) {
                debug_assert!(
                    self.asked.borrow().iter().any(|key| *key == item.key()),
                    "nobody reads {}",
                    item.key()
                );
                continue;
            }
            let help = match nearest(item.key(), known()) {
                Some(near) => format!("did you mean '{near}'?"),
                None => format!("known here: {}", known().collect::<Vec<_>>().join(", ")),
            };
            item.note_key_structure(&format!("unknown key '{}'", item.key()), help);
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
