//! Recordings on disk: the only part that knows their layout.
//!
//! [`Recorder`] writes one; [`read_recording`] and [`Follower`] read it back, whole or as it grows.
//! [`Source`] is what every analysis command works on: a recording, a loop's folder in it, or any CSV;
//! [`Table`] is the same row by row, with every cell as it was written.

mod csv_cell;
mod csv_columns;
mod csv_file;
mod csv_source;
mod cut;
mod disk;
mod facts;
mod follow;
mod growth;
mod layout;
mod lock;
mod loop_files;
mod mend;
mod read_error;
mod record_error;
mod recorder;
mod recording_source;
mod rows;
mod source;
mod sums;
mod table;
mod unfinished;
mod verify;
mod waiting;

pub use csv_columns::CsvColumns;
pub use csv_source::read_csv;
pub use facts::LineHealth;
pub use follow::Follower;
pub use layout::folder_name;
pub use read_error::ReadError;
pub use record_error::RecordError;
pub use recorder::{Recorder, SYNC_EVERY};
pub use recording_source::{Opened, is_recording, open, read_recording};
pub use source::{LoopRecord, RecordedEvent, RecordedSetting, RecordingFacts, Source};
pub use table::{Table, TableRow, TableRows, tables};
pub use unfinished::Unfinished;
pub use verify::{FileState, Verified, VerifiedLoop, verify};

#[cfg(test)]
mod full_disk_tests;
#[cfg(test)]
mod power_tests;
