//! Recordings on disk: the only part that knows their layout.
//!
//! `source` is what every analysis command reads: a recording, a loop's folder in it, or any CSV.

mod csv_cell;
mod csv_columns;
mod csv_source;
mod cut;
mod read_error;
mod source;

pub use csv_columns::CsvColumns;
pub use csv_source::read_csv;
pub use read_error::ReadError;
pub use source::{LoopRecord, RecordedEvent, RecordedSetting, RecordingFacts, Source};
