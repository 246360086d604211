//! Recordings on disk: the only part that knows their layout.
//!
//! `source` is what every analysis command reads: a recording, a loop's folder in it, or any CSV.

mod source;

pub use source::{LoopRecord, RecordedEvent, RecordedSetting, RecordingFacts, Source};
