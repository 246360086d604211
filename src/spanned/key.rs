//! Keys of a file: their names, how their values are read, and what a schema says of them, in one
//! definition for both.
//!
//! The readers of setups, maps and criteria ask a [`Section`](super::Section) by [`Key`]; a key that
//! is not in the section's [`Shape`] is unknown there. The JSON Schema of a file is made from the
//! same shapes, so that an editor knows every key the reader knows and no other. What depends on
//! more than one table of the file is the reader's alone.

use serde_json::{Map, Value, json};

use super::item::Item;

/// What the value under a key may be.
pub(crate) trait Kind {
    /// What is made of it.
    type Value<'a>;

    /// The value, or `None` after noting what is wrong with it.
    fn read<'a>(&self, item: &Item<'a>) -> Option<Self::Value<'a>>;

    /// The same in JSON Schema, draft 7, without a description.
    fn schema(&self) -> Value;
}

/// One key of a table.
#[derive(Clone, Copy, Debug)]
pub(crate) struct Key<K> {
    /// As it is written in files.
    pub(crate) name: &'static str,
    about: &'static str,
    need: Need,
    pub(super) kind: K,
}

/// Whether a key may be left out; the text says what to do about one that is missing.
#[derive(Clone, Copy, Debug)]
pub(crate) enum Need {
    /// It has a default, or nothing is meant without it.
    No,
    /// It must be there.
    Always(&'static str),
    /// It must be there, save where other keys stand in for it.
    Usually(&'static str),
}

/// A key of any kind.
pub(crate) trait AnyKey {
    fn name(&self) -> &'static str;
    fn is_required(&self) -> bool;
    fn described(&self) -> Value;
}

/// A table: its keys, and what holds among them.
#[derive(Clone, Copy)]
pub(crate) struct Shape {
    about: &'static str,
    keys: &'static [&'static dyn AnyKey],
    rules: &'static [Rule],
}

/// What holds among the keys of one table.
#[derive(Clone, Copy, Debug)]
pub(crate) enum Rule {
    /// These contradict each other.
    AtMostOne(Alternatives),
    /// One of these must be there, and the others not.
    ExactlyOne(Alternatives),
    /// These mean something only beside that other one.
    Beside(&'static [&'static str], &'static str),
    /// At least one of these must be there.
    AtLeastOne(&'static [&'static str]),
}

/// Keys of which one table has one, and what to do where it has several.
#[derive(Clone, Copy, Debug)]
pub(crate) struct Alternatives {
    pub(crate) keys: &'static [&'static str],
    pub(crate) help: &'static str,
}

impl<K: Copy> Key<K> {
    pub(crate) const fn new(name: &'static str, about: &'static str, need: Need, kind: K) -> Self {
        Self {
            name,
            about,
            need,
            kind,
        }
    }
}

impl<K> Key<K> {
    /// What a person is told to do where it is missing.
    pub(crate) fn help(&self) -> &'static str {
        match self.need {
            Need::No => "",
            Need::Always(help) | Need::Usually(help) => help,
        }
    }
}

impl<K: Kind> AnyKey for Key<K> {
    fn name(&self) -> &'static str {
        self.name
    }

    fn is_required(&self) -> bool {
        matches!(self.need, Need::Always(_))
    }

    fn described(&self) -> Value {
        let mut schema = self.kind.schema();
        describe(&mut schema, self.about);
        schema
    }
}

/// Puts the description before whatever the schema says of it already.
fn describe(schema: &mut Value, about: &str) {
    if let Some(object) = schema.as_object_mut() {
        object.insert("description".to_owned(), about.trim().into());
    }
}

impl Shape {
    pub(crate) const fn new(
        about: &'static str,
        keys: &'static [&'static dyn AnyKey],
        rules: &'static [Rule],
    ) -> Self {
        Self { about, keys, rules }
    }

    pub(super) fn names(&self) -> impl Iterator<Item = &'static str> {
        self.keys.iter().map(|key| key.name())
    }

    /// A table of this shape in JSON Schema, draft 7.
    pub(crate) fn schema(&self) -> Value {
        let properties: Map<String, Value> = self
            .keys
            .iter()
            .map(|key| (key.name().to_owned(), key.described()))
            .collect();
        let required: Vec<&str> = self
            .keys
            .iter()
            .filter(|key| key.is_required())
            .map(|key| key.name())
            .collect();
        let mut schema = json!({
            "type": "object",
            "additionalProperties": false,
            "properties": properties,
        });
        describe(&mut schema, self.about);
        if !required.is_empty() {
            schema["required"] = required.into();
        }
        if !self.rules.is_empty() {
            schema["allOf"] = self.rules.iter().flat_map(Rule::schemas).collect();
        }
        schema
    }

    /// The schema of a whole file of this shape.
    pub(crate) fn file_schema(&self, title: &str) -> Value {
        let mut schema = self.schema();
        schema["$schema"] = "http://json-schema.org/draft-07/schema#".into();
        schema["title"] = title.into();
        schema
    }
}

impl Rule {
    fn schemas(&self) -> Vec<Value> {
        let having = |key: &&str| json!({ "required": [key] });
        match self {
            Self::AtMostOne(among) => among.pairs().collect(),
            Self::ExactlyOne(among) => {
                let each: Vec<Value> = among.keys.iter().map(having).collect();
                vec![json!({ "oneOf": each })]
            }
            Self::Beside(keys, other) => {
                let each = keys.iter().map(|key| ((*key).to_owned(), json!([other])));
                vec![json!({ "dependencies": each.collect::<Map<String, Value>>() })]
            }
            Self::AtLeastOne(keys) => {
                let each: Vec<Value> = keys.iter().map(having).collect();
                vec![json!({ "anyOf": each })]
            }
        }
    }
}

impl Alternatives {
    /// No two of them together.
    fn pairs(&self) -> impl Iterator<Item = Value> {
        let keys = self.keys.iter().enumerate();
        keys.flat_map(|(at, one)| {
            let others = self.keys.iter().skip(at + 1);
            others.map(move |other| json!({ "not": { "required": [one, other] } }))
        })
    }
}

/// Defines the keys of one table and its [`Shape`]: `NAME: Kind = "key" => how its value is read`.
///
/// The doc comments are what an editor shows a person who writes such a file.
macro_rules! keys {
    (
        #[doc = $about:literal]
        $table:ident {
            $(
                $(#[doc = $key_about:literal])+
                $name:ident: $kind:ty = $key:expr => $how:expr
                    $(, needed $needed:literal)? $(, usually $usually:literal)?;
            )+
        }
        $($rule:expr),* $(,)?
    ) => {
        #[doc = $about]
        pub(crate) enum $table {}

        impl $table {
            $(
                $(#[doc = $key_about])+
                pub(crate) const $name: $crate::spanned::Key<$kind> = $crate::spanned::Key::new(
                    $key,
                    concat!($($key_about),+),
                    $crate::spanned::need!($($needed)? $(, $usually)?),
                    $how,
                );
            )+

            pub(crate) const SHAPE: $crate::spanned::Shape =
                $crate::spanned::Shape::new($about, &[$(&Self::$name),+], &[$($rule),*]);
        }
    };
}

/// The need of a key, from what [`keys!`] says.
macro_rules! need {
    () => {
        $crate::spanned::Need::No
    };
    ($help:literal) => {
        $crate::spanned::Need::Always($help)
    };
    (, $help:literal) => {
        $crate::spanned::Need::Usually($help)
    };
}

pub(crate) use {keys, need};
