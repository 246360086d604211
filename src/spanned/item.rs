//! A value of the file, and what can be made of it.

use std::ops::{Range, RangeInclusive};
use std::rc::Rc;
use std::time::Duration;

use rust_decimal::Decimal;
use rust_decimal::prelude::ToPrimitive;
use toml::Spanned;
use toml::de::{DeInteger, DeValue};

use super::problem::FileErrors;
use super::section::{Section, with_subject};
use super::source::SourceFile;
use super::words::{Words, nearest};
use crate::name::Name;

/// A value of the file with its key.
///
/// Each getter notes a problem and gives `None` when the value is not of its kind.
#[derive(Clone, Debug)]
pub(crate) struct Item<'a> {
    source: &'a SourceFile<'a>,
    subject: Rc<str>,
    key: &'a str,
    key_span: Range<usize>,
    node: &'a Spanned<DeValue<'a>>,
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

    fn expected<T>(&self, kind: &str, example: &str) -> Option<T> {
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

    /// A whole number of this range.
    pub(crate) fn whole(&self, range: RangeInclusive<i64>) -> Option<i64> {
        let Some(integer) = self.node.get_ref().as_integer() else {
            return self.expected("a whole number", &range.start().to_string());
        };
        match to_i128(integer).and_then(|n| i64::try_from(n).ok()) {
            Some(number) if range.contains(&number) => Some(number),
            _ => {
                let (from, to) = range.into_inner();
                let what = format!("'{}' cannot be {integer}", self.key);
                self.note(&what, format!("it can be {from} to {to}"));
                None
            }
        }
    }

    /// A number, exactly as it is written.
    pub(crate) fn decimal(&self) -> Option<Decimal> {
        let number = match self.node.get_ref() {
            DeValue::Integer(integer) => {
                to_i128(integer).and_then(|n| Decimal::try_from_i128_with_scale(n, 0).ok())
            }
            DeValue::Float(float) => exact(float.as_str()),
            _ => return self.expected("a number", "0.1"),
        };
        if number.is_none() {
            let what = format!("'{}' is no number that can be kept exactly", self.key);
            self.note(&what, "write a number of up to 28 digits, for example 0.1");
        }
        number
    }

    /// A number for calculations.
    pub(crate) fn number(&self) -> Option<f64> {
        self.decimal()?.to_f64()
    }

    /// Two numbers, the first below the second.
    pub(crate) fn span_of_numbers(&self) -> Option<(f64, f64)> {
        let items = self.list()?;
        let [low, high] = items.as_slice() else {
            let what = format!("'{}' must have two numbers, lowest and highest", self.key);
            self.note(&what, format!("for example: {} = [0.0, 800.0]", self.key));
            return None;
        };
        let (low, high) = (low.number(), high.number());
        let (low, high) = (low?, high?);
        if low >= high {
            let what = format!("'{}': {low} is not below {high}", self.key);
            self.note(&what, "write the lowest value first, then the highest");
            return None;
        }
        Some((low, high))
    }

    /// A duration (`250 ms`, `1h 30m`) of this range.
    pub(crate) fn duration(&self, range: RangeInclusive<Duration>) -> Option<Duration> {
        let Some(text) = self.as_text() else {
            return self.expected("a duration in quotes", "\"250 ms\"");
        };
        let Ok(duration) = humantime::parse_duration(text) else {
            let what = format!("'{}': {text:?} is no duration", self.key);
            self.note(&what, "write for example \"250 ms\", \"1 s\" or \"1h 30m\"");
            return None;
        };
        if range.contains(&duration) {
            return Some(duration);
        }
        let (from, to) = range.into_inner();
        let (from, to) = (
            humantime::format_duration(from),
            humantime::format_duration(to),
        );
        self.note(
            &format!("'{}' cannot be {text:?}", self.key),
            format!("it can be {from} to {to}"),
        );
        None
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
        let written = self.text()?;
        let found = W::WORDS.iter().find(|(_, word)| *word == written);
        if found.is_none() {
            let known = || W::WORDS.iter().map(|(_, word)| *word);
            let listed = known().collect::<Vec<_>>().join(", ");
            let help = match nearest(written, known()) {
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

    /// A table, called `subject` in messages.
    pub(crate) fn section(&self, subject: &str) -> Option<Section<'a>> {
        let Some(table) = self.node.get_ref().as_table() else {
            return self.expected("a table", "{ ... }");
        };
        Some(Section::new(self.source, subject, table, self.key_span()))
    }

    /// A table that stands in a list and has no key of its own; messages call it as the list.
    pub(crate) fn listed_section(&self) -> Option<Section<'a>> {
        self.listed_section_called(&self.inner_subject())
    }

    /// As [`listed_section`](Self::listed_section), with a name of its own for messages.
    pub(crate) fn listed_section_called(&self, subject: &str) -> Option<Section<'a>> {
        let Some(table) = self.node.get_ref().as_table() else {
            let what = format!("'{}' lists tables, not {}", self.key, self.kind());
            self.note(&what, "see the examples in configs");
            return None;
        };
        Some(Section::new(self.source, subject, table, self.span()))
    }

    /// A table that belongs to the same subject as the item itself.
    pub(crate) fn inner_section(&self) -> Option<Section<'a>> {
        self.section(&self.inner_subject())
    }

    fn inner_subject(&self) -> String {
        match &*self.subject {
            "" => format!("'{}'", self.key),
            subject => format!("{subject}: '{}'", self.key),
        }
    }
}

fn to_i128(integer: &DeInteger<'_>) -> Option<i128> {
    i128::from_str_radix(integer.as_str(), integer.radix()).ok()
}

fn exact(text: &str) -> Option<Decimal> {
    let text = text.trim_start_matches('+');
    Decimal::from_str_exact(text)
        .or_else(|_| Decimal::from_scientific(text))
        .ok()
}
