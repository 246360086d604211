//! Integration tests, linked once.
#![expect(clippy::unwrap_used, reason = "a test that cannot go on should stop")]

mod csv_source;
mod episodes;
mod good_files;
mod evidence;
mod layering;
mod step_reference;
