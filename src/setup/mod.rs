//! The setup file: which lines there are, and which loops hang on them.

mod model;

pub use model::{Job, LineSetup, LoopSetup, Parity, Port, Setup, StopBits, UnitId};
