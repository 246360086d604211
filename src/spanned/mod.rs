//! Reading a TOML file a person wrote, so that every mistake in it comes at once, each with its
//! place, the line itself and a way out.
//!
//! serde's derive stops at the first mistake, so setups and maps are read by hand: a
//! `SourceFile` is parsed into a `Section`, whose getters hand out `Item`s. A getter that
//! finds something wrong notes the problem, gives `None` and lets the reading go on; whoever reads
//! the file asks at the end whether there were problems. Keys nobody asked for are problems too.

mod excerpt;
mod item;
mod number;
mod problem;
mod read;
mod section;
mod source;
mod syntax;
mod words;

pub use problem::{FileErrors, Problem};
pub use read::{LARGEST, read_text};

pub(crate) use read::{describe, help_for};

pub(crate) use item::Item;
pub(crate) use section::Section;
pub(crate) use source::SourceFile;
pub(crate) use words::{Words, nearest, words};
