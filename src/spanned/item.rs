//! A value of the file, and what can be made of it.

use std::ops::Range;
use std::rc::Rc;

use toml::Spanned;
use toml::de::{DeTable, DeValue};

use super::key::Shape;
use super::problem::FileErrors;
use super::section::{Section, with_subject};
use super::source::SourceFile;
use super::words::{Words, meant};
use crate::name::Name;

/// Of more words than that a person who wrote nearly one of them is not shown all.
const MANY: usize = 12;

/// A value of the file with its key.
///
/// Each getter notes a problem and gives `None` when the value is not of its kind.
#[derive(Clone, Debug)]
pub(crate) struct Item<'a> {
    source: &'a SourceFile<'a>,
    subject: Rc<str>,
    key: &'a str,
    key_span: Range<usize>,
    pub(super) node: &'a Spanned<DeValue<'a>>,
}

impl<'a> Item<'a> {
    pub(super) fn new(
        source: &'a SourceFile<'a>,
        subject: Rc<str>,
        key: &'a str,
        key_span: Range<usize>,
        node: &'a Spanned<DeValue<'a>>,
    ) -> Self {
        Self {
            source,
            subject,
            key,
            key_span,
            node,
        }
    }

    /// The key it stands under.
    pub(crate) fn key(&self) -> &'a str {
        self.key
    }

    /// Where the key stands.
    pub(crate) fn key_span(&self) -> Range<usize> {
        self.key_span.clone()
    }

    /// Where the value stands.
    pub(crate) fn span(&self) -> Range<usize> {
        self.node.span()
    }

    /// Notes that the value is wrong.
    pub(crate) fn note(&self, what: &str, help: impl Into<String>) {
        let what = with_subject(&self.subject, what);
        self.source.note(self.span(), what, help);
    }

    /// Notes that the key is wrong.
    pub(crate) fn note_key(&self, what: &str, help: impl Into<String>) {
        let what = with_subject(&self.subject, what);
        self.source.note(self.key_span(), what, help);
    }

    /// Notes that the value does not go with the rest of the file.
    pub(crate) fn note_structure(&self, what: &str, help: impl Into<String>) {
        let what = with_subject(&self.subject, what);
        self.source.note_structure(self.span(), what, help);
    }

    /// As [`note_structure`](Self::note_structure), at the key.
    pub(crate) fn note_key_structure(&self, what: &str, help: impl Into<String>) {
        let what = with_subject(&self.subject, what);
        self.source.note_structure(self.key_span(), what, help);
    }

    /// Notes that the value is not of this kind.
    pub(super) fn expected<T>(&self, kind: &str, example: &str) -> Option<T> {
        let what = format!("'{}' must be {kind}, not {}", self.key, self.kind());
        self.note(&what, format!("for example: {} = {example}", self.key));
        None
    }

    fn kind(&self) -> &'static str {
        match self.node.get_ref() {
            DeValue::String(_) => "a text",
            DeValue::Integer(_) => "a whole number",
            DeValue::Float(_) => "a number with decimals",
            DeValue::Boolean(_) => "true or false",
            DeValue::Datetime(_) => "a date",
            DeValue::Array(_) => "a list",
            DeValue::Table(_) => "a table",
        }
    }

    /// The value as it stands in the file.
    pub(crate) fn written(&self) -> &'a str {
        self.source.text().get(self.span()).unwrap_or_default()
    }

    /// A text.
    pub(crate) fn text(&self) -> Option<&'a str> {
        let text = self.node.get_ref().as_str();
        text.or_else(|| self.expected("a text", "\"...\""))
    }

    /// The text, if it is one; no problem if it is not.
    pub(crate) fn as_text(&self) -> Option<&'a str> {
        self.node.get_ref().as_str()
    }

    /// `true` or `false`.
    pub(crate) fn flag(&self) -> Option<bool> {
        let flag = self.node.get_ref().as_bool();
        flag.or_else(|| self.expected("true or false", "true"))
    }

    /// A name.
    pub(crate) fn name(&self) -> Option<Name> {
        let text = self.text()?;
        self.named(text, self.span())
    }

    /// The key as a name.
    pub(crate) fn key_name(&self) -> Option<Name> {
        self.named(self.key, self.key_span())
    }

    fn named(&self, text: &str, span: Range<usize>) -> Option<Name> {
        let name = text.parse().ok();
        if name.is_none() {
            let what = with_subject(&self.subject, &format!("{text:?} cannot be a name"));
            let help = "use letters a to z, digits, '.', '_' and '-'";
            self.source.note(span, what, help);
        }
        name
    }

    /// One of the words of a choice.
    pub(crate) fn word<W: Words>(&self) -> Option<W> {
        let known = || W::WORDS.iter().map(|(_, word)| *word);
        let Some(written) = self.as_text() else {
            let example = format!("{:?}", known().next().unwrap_or_default());
            return self.expected("a text", &example);
        };
        let found = W::WORDS.iter().find(|(_, word)| *word == written);
        if found.is_none() {
            let listed = known().collect::<Vec<_>>().join(", ");
            let help = match meant::<W>(written) {
                Some(near) if W::WORDS.len() > MANY => format!("did you mean \"{near}\"?"),
                Some(near) => format!("did you mean \"{near}\"? It can be: {listed}"),
                None => format!("it can be: {listed}"),
            };
            self.note(&format!("unknown {} {written:?}", W::WHAT), help);
        }
        found.map(|(choice, _)| *choice)
    }

    /// The text under a key of the table that this is, if both are there.
    pub(crate) fn text_inside(&self, key: &str) -> Option<&'a str> {
        self.node.get_ref().as_table()?.get(key)?.get_ref().as_str()
    }

    /// Takes over the problems of a file that the value names.
    pub(crate) fn adopt(&self, errors: FileErrors) {
        self.source.adopt(&self.span(), errors);
    }

    /// Whether it is a list.
    pub(crate) fn is_list(&self) -> bool {
        self.node.get_ref().is_array()
    }

    /// The items of a list, under the list's own key.
    pub(crate) fn list(&self) -> Option<Vec<Item<'a>>> {
        let Some(array) = self.node.get_ref().as_array() else {
            return self.expected("a list", "[1, 2]");
        };
        let item = |node| Self {
            node,
            ..self.clone()
        };
        Some(array.iter().map(item).collect())
    }

    /// The tables that each stand under a heading `[[key]]`.
    pub(crate) fn headed_list(&self) -> Option<Vec<Item<'a>>> {
        if self.is_list() {
            return self.list();
        }
        let what = format!("'{}' must be a list, not {}", self.key, self.kind());
        let help = format!("write [[{}]] with two brackets before each", self.key);
        self.note(&what, help);
        None
    }

    /// A table of this shape; messages call it by its key.
    pub(super) fn table(&self, shape: Shape) -> Option<Section<'a>> {
        self.table_called(&self.inner_subject(), shape)
    }

    /// A table of this shape, called `subject` in messages.
    pub(super) fn table_called(&self, subject: &str, shape: Shape) -> Option<Section<'a>> {
        let Some(table) = self.node.get_ref().as_table() else {
            return self.expected("a table", "{ ... }");
        };
        let span = self.key_span();
        Some(Section::new(self.source, subject, table, span, shape))
    }

    /// A table that stands in a list and has no key of its own; messages call it as the list.
    pub(super) fn listed_table(&self, shape: Shape) -> Option<Section<'a>> {
        self.listed_table_called(&self.inner_subject(), shape)
    }

    /// As [`listed_table`](Self::listed_table), with a name of its own for messages.
    pub(super) fn listed_table_called(&self, subject: &str, shape: Shape) -> Option<Section<'a>> {
        let Some(table) = self.node.get_ref().as_table() else {
            let what = format!("'{}' lists tables, not {}", self.key, self.kind());
            let keys: Vec<String> = shape.names().map(|key| format!("{key} = ...")).collect();
            self.note(&what, format!("each is {{ {} }}", keys.join(", ")));
            return None;
        };
        Some(Section::new(
            self.source,
            subject,
            table,
            self.span(),
            shape,
        ))
    }

    /// What a table holds whose keys are texts, in the order of the file.
    pub(super) fn entries(&self) -> Option<Vec<Item<'a>>> {
        let Some(table) = self.node.get_ref().as_table() else {
            return self.expected("a table", "{ ... }");
        };
        let subject: Rc<str> = self.inner_subject().into();
        Some(items_of(self.source, &subject, table))
    }

    fn inner_subject(&self) -> String {
        match &*self.subject {
            "" => format!("[{}]", self.key),
            subject => format!("{subject}: '{}'", self.key),
        }
    }
}

/// What a table holds, in the order of the file.
pub(super) fn items_of<'a>(
    source: &'a SourceFile<'a>,
    subject: &Rc<str>,
    table: &'a DeTable<'a>,
) -> Vec<Item<'a>> {
    let mut items: Vec<Item<'a>> = table
        .iter()
        .map(|(key, node)| {
            let subject = Rc::clone(subject);
            Item::new(source, subject, key.get_ref(), key.span(), node)
        })
        .collect();
    items.sort_by_key(|item| item.key_span().start);
    items
}
