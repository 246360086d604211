//! Reading a TOML file a person wrote, so that every mistake in it comes at once, each with its
//! place, the line itself and a way out.
//!
//! serde's derive stops at the first mistake, so such files are read by hand: a `SourceFile` is parsed
//! into a `Section`, which is asked for the value of each `Key` of its `Shape`. A key's `Kind` that
//! finds something wrong notes the problem, gives `None` and lets the reading go on; whoever reads
//! the file asks at the end whether there were problems. Keys of no shape are problems too. The same
//! shapes give the JSON Schema of a file.

mod excerpt;
mod item;
mod key;
mod kinds;
mod number;
mod problem;
mod read;
mod section;
mod source;
mod syntax;
mod words;

pub use problem::{FileErrors, Problem, Warning};
pub use read::{LARGEST, read_text};

pub(crate) use read::{describe, help_for};

pub(crate) use item::Item;
pub(crate) use key::{Alternatives, AnyKey, Key, Kind, Need, Rule, Shape, keys, need};
pub(crate) use kinds::{
    Entries, Exact, Flag, Headed, Integer, Listed, NameText, Named, Number, Positive, Span, Table,
    Text, Time, Version, Whole, Word,
};
pub(crate) use problem::Doubt;
pub(crate) use section::Section;
pub(crate) use source::SourceFile;
pub(crate) use words::{Words, nearest, words};
