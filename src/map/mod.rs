//! The user-written register map: which registers a kind of controller has and what they mean.
//!
//! `model` is what the rest of the program sees; `image` holds the words that came from the line;
//! `decode` turns an image into readings. Everything is checked when the file is read: a
//! [`Map`] that exists is a map that can be polled.

mod model;

pub use model::{
    Access, Address, AutotuneHabit, Bits, Derivative, Encoding, FaultValue, Form, Integral,
    LostOutput, Map, Meaning, Place, Point, Proportional, Refresh, Role, Scaling, Stored, Table,
    Tunes, TuningForm, UnitOf, WordOrder, WriteTo, WriteWith, Written,
};
