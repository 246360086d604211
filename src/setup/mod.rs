//! The setup file: which lines there are, and which loops hang on them.

mod model;
mod parse;
mod words;

pub use crate::spanned::FileErrors;
pub use model::{Job, LineSetup, LoopSetup, Parity, Port, Setup, StopBits, UnitId};
