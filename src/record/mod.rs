//! Recordings on disk: the only part that knows their layout.
//!
//! [`Recorder`] writes one; [`open_source`] and [`Follower`] read it back, from its files or as it
//! grows. [`OpenSource`] is what every analysis command begins with: a recording, a loop's folder in
//! it, or any CSV. Its samples are streamed ([`Samples`], a year in the memory of a few days) or
//! collected ([`Source`]); [`Table`] is the same row by row, with every cell as it was written.

mod ahead;
mod block;
mod csv_cell;
mod csv_columns;
mod csv_file;
mod csv_source;
mod csv_time;
mod cut;
mod day_file;
mod deciding;
mod disk;
mod facts;
mod follow;
mod growing;
mod growth;
mod layout;
mod lock;
mod loop_files;
mod mend;
mod open_source;
mod plain_rows;
mod read_error;
mod record_error;
mod recorder;
mod recording_source;
mod rows;
mod samples;
mod source;
mod spare;
mod sums;
mod table;
mod told;
mod unfinished;
mod verify;
mod waiting;
mod wall;
mod window;

pub use block::{RecordedSample, RowCounts};
pub use csv_columns::CsvColumns;
pub use facts::LineHealth;
pub use follow::Follower;
pub use layout::folder_name;
pub use open_source::{OpenLoop, OpenSource, open_source};
pub use read_error::ReadError;
pub use record_error::RecordError;
pub use recorder::{Progress, Recorder, SYNC_EVERY};
pub use recording_source::{Opened, is_recording, open};
pub use samples::Samples;
pub use source::{LoopRecord, RecordedEvent, RecordedSetting, RecordingFacts, Source};
pub use spare::SampleBlock;
pub use table::{Table, TableRow, TableRows, tables};
pub use unfinished::Unfinished;
pub use verify::{FileState, Verified, VerifiedLoop, verify};
pub use wall::WallClock;

#[cfg(test)]
mod full_disk_tests;
#[cfg(test)]
mod power_tests;
