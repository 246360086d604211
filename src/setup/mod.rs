//! The setup file: which lines there are, and which loops hang on them.

mod adapter;
mod model;
mod parse;
mod words;

pub use crate::spanned::FileErrors;
pub use adapter::{AdapterId, BadAdapterId};
pub use model::{Job, LineSetup, LoopSetup, Parity, Port, Setup, StopBits, UnitId};
