//! The kinds of values that files have, each with its reader and its schema.

use std::marker::PhantomData;
use std::ops::RangeInclusive;
use std::time::Duration;

use rust_decimal::Decimal;
use serde_json::{Value, json};

use super::item::Item;
use super::key::{Kind, Shape};
use super::section::Section;
use super::words::Words;
use crate::name::{self, Name};

/// Any text.
#[derive(Clone, Copy, Debug)]
pub(crate) struct Text;

/// `true` or `false`.
#[derive(Clone, Copy, Debug)]
pub(crate) struct Flag;

/// One of the words of a choice.
#[derive(Debug)]
pub(crate) struct Word<W>(PhantomData<fn() -> W>);

/// Any whole number; larger ones than the program can hold are given as the largest.
#[derive(Clone, Copy, Debug)]
pub(crate) struct Integer;

/// A whole number from one to another, both included.
#[derive(Clone, Copy, Debug)]
pub(crate) struct Whole(pub(crate) i64, pub(crate) i64);

/// A number, exactly as it is written.
#[derive(Clone, Copy, Debug)]
pub(crate) struct Exact;

/// A number for calculations.
#[derive(Clone, Copy, Debug)]
pub(crate) struct Number;

/// A number above 0, and what to write instead of another.
#[derive(Clone, Copy, Debug)]
pub(crate) struct Positive(pub(crate) &'static str);

/// Two numbers, the first below the second.
#[derive(Clone, Copy, Debug)]
pub(crate) struct Span;

/// A duration (`250 ms`, `1h 30m`) from one to another, both included.
#[derive(Clone, Copy, Debug)]
pub(crate) struct Time(pub(crate) Duration, pub(crate) Duration);

/// A name of a loop, a line or a point.
#[derive(Clone, Copy, Debug)]
pub(crate) struct NameText;

/// The version of a file's form, which must be this one.
#[derive(Clone, Copy, Debug)]
pub(crate) struct Version(pub(crate) i64);

/// A table of this shape.
#[derive(Clone, Copy)]
pub(crate) struct Table(pub(crate) Shape);

/// A table whose keys are names a person gives, each of a table of this shape; messages call one as
/// `what` and its name.
#[derive(Clone, Copy)]
pub(crate) struct Named {
    pub(crate) what: &'static str,
    pub(crate) shape: Shape,
}

/// A list of tables of this shape, in one line.
#[derive(Clone, Copy)]
pub(crate) struct Listed(pub(crate) Shape);

/// A list of tables of this shape, each under a heading `[[key]]`; messages call one as `what` and
/// its `name`, or its number.
#[derive(Clone, Copy)]
pub(crate) struct Headed {
    pub(crate) what: &'static str,
    pub(crate) shape: Shape,
}

/// A table whose keys are any texts, all with values of one kind.
#[derive(Clone, Copy, Debug)]
pub(crate) struct Entries<K> {
    /// What the keys look like, as a regular expression.
    pub(crate) keys: &'static str,
    pub(crate) of: K,
}

impl<W> Word<W> {
    pub(crate) const fn new() -> Self {
        Self(PhantomData)
    }
}

// Derived, these would want the same of the choice.
impl<W> Clone for Word<W> {
    fn clone(&self) -> Self {
        *self
    }
}

impl<W> Copy for Word<W> {}

impl Kind for Text {
    type Value<'a> = &'a str;

    fn read<'a>(&self, item: &Item<'a>) -> Option<&'a str> {
        item.text()
    }

    fn schema(&self) -> Value {
        json!({ "type": "string" })
    }
}

impl Kind for Flag {
    type Value<'a> = bool;

    fn read(&self, item: &Item<'_>) -> Option<bool> {
        item.flag()
    }

    fn schema(&self) -> Value {
        json!({ "type": "boolean" })
    }
}

impl<W: Words> Kind for Word<W> {
    type Value<'a> = W;

    fn read(&self, item: &Item<'_>) -> Option<W> {
        item.word()
    }

    fn schema(&self) -> Value {
        let words: Vec<&str> = W::WORDS.iter().map(|(_, word)| *word).collect();
        json!({ "enum": words })
    }
}

impl Kind for Integer {
    type Value<'a> = i64;

    fn read(&self, item: &Item<'_>) -> Option<i64> {
        item.whole_number()
    }

    fn schema(&self) -> Value {
        json!({ "type": "integer" })
    }
}

impl Kind for Whole {
    type Value<'a> = i64;

    fn read(&self, item: &Item<'_>) -> Option<i64> {
        item.whole(self.0..=self.1)
    }

    fn schema(&self) -> Value {
        json!({ "type": "integer", "minimum": self.0, "maximum": self.1 })
    }
}

impl Kind for Exact {
    type Value<'a> = Decimal;

    fn read(&self, item: &Item<'_>) -> Option<Decimal> {
        item.decimal()
    }

    fn schema(&self) -> Value {
        json!({ "type": "number" })
    }
}

impl Kind for Number {
    type Value<'a> = f64;

    fn read(&self, item: &Item<'_>) -> Option<f64> {
        item.number()
    }

    fn schema(&self) -> Value {
        Exact.schema()
    }
}

impl Kind for Positive {
    type Value<'a> = f64;

    fn read(&self, item: &Item<'_>) -> Option<f64> {
        let number = item.number()?;
        if number <= 0.0 {
            let what = format!("'{}' cannot be {number}", item.key());
            item.note(&what, self.0);
            return None;
        }
        Some(number)
    }

    fn schema(&self) -> Value {
        json!({ "type": "number", "exclusiveMinimum": 0 })
    }
}

impl Kind for Span {
    type Value<'a> = (f64, f64);

    fn read(&self, item: &Item<'_>) -> Option<(f64, f64)> {
        item.span_of_numbers()
    }

    fn schema(&self) -> Value {
        json!({ "type": "array", "items": Exact.schema(), "minItems": 2, "maxItems": 2 })
    }
}

impl Time {
    fn range(self) -> RangeInclusive<Duration> {
        self.0..=self.1
    }
}

impl Kind for Time {
    type Value<'a> = Duration;

    fn read(&self, item: &Item<'_>) -> Option<Duration> {
        item.duration(self.range())
    }

    fn schema(&self) -> Value {
        // Which units there are, and how long it may be, the reader says.
        json!({ "type": "string", "pattern": r"^\s*(\d+\s*[A-Za-zµ]+\s*)+$" })
    }
}

impl Kind for NameText {
    type Value<'a> = Name;

    fn read(&self, item: &Item<'_>) -> Option<Name> {
        item.name()
    }

    fn schema(&self) -> Value {
        json!({ "type": "string", "pattern": name::PATTERN })
    }
}

impl Kind for Version {
    type Value<'a> = ();

    fn read(&self, item: &Item<'_>) -> Option<()> {
        let (number, known) = (item.whole_number()?, self.0);
        if number != known {
            let what = format!("schema {number} is not known to this version");
            let help = format!("this version reads schema {known}; a newer one may read {number}");
            item.note(&what, help);
        }
        Some(())
    }

    fn schema(&self) -> Value {
        json!({ "const": self.0 })
    }
}

impl Kind for Table {
    type Value<'a> = Section<'a>;

    fn read<'a>(&self, item: &Item<'a>) -> Option<Section<'a>> {
        item.table(self.0)
    }

    fn schema(&self) -> Value {
        self.0.schema()
    }
}

impl Kind for Named {
    type Value<'a> = Vec<(Item<'a>, Option<Section<'a>>)>;

    fn read<'a>(&self, item: &Item<'a>) -> Option<Self::Value<'a>> {
        let read = |item: Item<'a>| {
            let section = item.table_called(&format!("{} '{}'", self.what, item.key()), self.shape);
            (item, section)
        };
        Some(item.entries()?.into_iter().map(read).collect())
    }

    fn schema(&self) -> Value {
        json!({
            "type": "object",
            "minProperties": 1,
            "propertyNames": { "pattern": name::PATTERN },
            "additionalProperties": self.shape.schema(),
        })
    }
}

impl Kind for Listed {
    type Value<'a> = Vec<Section<'a>>;

    fn read<'a>(&self, item: &Item<'a>) -> Option<Self::Value<'a>> {
        let items = item.list()?;
        let read = |item: &Item<'a>| item.listed_table(self.0);
        Some(items.iter().filter_map(read).collect())
    }

    fn schema(&self) -> Value {
        json!({ "type": "array", "items": self.0.schema() })
    }
}

impl Kind for Headed {
    type Value<'a> = Vec<Section<'a>>;

    fn read<'a>(&self, item: &Item<'a>) -> Option<Self::Value<'a>> {
        let items = item.headed_list()?;
        let read = |(index, item): (usize, &Item<'a>)| {
            let called = match item.text_inside("name") {
                Some(name) => format!("{} '{name}'", self.what),
                None => format!("{} {}", self.what, index + 1),
            };
            item.listed_table_called(&called, self.shape)
        };
        Some(items.iter().enumerate().filter_map(read).collect())
    }

    fn schema(&self) -> Value {
        let mut schema = Listed(self.shape).schema();
        schema["minItems"] = json!(1);
        schema
    }
}

impl<K: Kind> Kind for Entries<K> {
    type Value<'a> = Vec<(Item<'a>, Option<K::Value<'a>>)>;

    fn read<'a>(&self, item: &Item<'a>) -> Option<Self::Value<'a>> {
        let read = |item: Item<'a>| {
            let value = self.of.read(&item);
            (item, value)
        };
        Some(item.entries()?.into_iter().map(read).collect())
    }

    fn schema(&self) -> Value {
        json!({
            "type": "object",
            "propertyNames": { "pattern": self.keys },
            "additionalProperties": self.of.schema(),
        })
    }
}
