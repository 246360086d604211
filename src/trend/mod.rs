//! What the screen remembers of each loop: any stretch of time can be drawn at any width, cheaply,
//! and no spike is hidden by zooming out.
//!
//! `chunk` holds the samples, `pyramid` the extremes over ever longer runs of chunks, `history` puts
//! both together with what happened.

mod chunk;
mod history;
mod pyramid;
mod summary;

pub use history::{Columns, History, Moment, Record};
pub use summary::{Point, Span, Summary};
