//! The user-written register map: which registers a kind of controller has and what they mean.
//!
//! `model` is what the rest of the program sees and `words` the words for its choices; `parse`
//! reads the file and checks everything, so that a [`Map`] that exists is a map that can be
//! polled; [`Image`] holds the words that came from the line; `raw`, `scale` and `decode` turn an
//! image into readings, `encode` goes the other way, and `remark` says what looks wrong in an image.

mod column;
mod decode;
mod encode;
mod image;
mod locate;
mod model;
mod parse;
mod queries;
mod raw;
mod remark;
mod scale;
mod words;

pub use decode::MOST_DECIMALS;
pub use encode::NotEncodable;
pub use image::Image;
pub use locate::{Candidate, Fit, Shown, candidates, likelihoods, snippet};
pub use model::{
    Access, Address, AutotuneHabit, Bits, ByteOrder, Derivative, Encoding, FaultValue, Form,
    Integral, LostOutput, Map, Meaning, Place, Point, Proportional, Refresh, Role, Scaling, Stored,
    Table, Tunes, TuningForm, UnitOf, WordOrder, WriteTo, WriteWith, Written,
};
pub use remark::Remark;
