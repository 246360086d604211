//! Integration tests, linked once.
#![expect(clippy::unwrap_used, reason = "a test that cannot go on should stop")]

mod asked;
mod bad_files;
mod certainty;
mod csv_source;
mod day;
mod device_maps;
mod encodings;
mod console;
mod episode_kinds;
mod episodes;
mod evidence;
mod find;
mod good_files;
mod integral_criteria;
mod layering;
mod listening;
mod long;
mod maps_guide;
mod measure_command;
mod neighbours;
mod numbers_guide;
mod played;
mod remarks;
mod program;
mod random_layouts;
mod recording_source;
mod relay_reference;
mod robust;
mod schema;
mod simulated;
mod steady;
mod step_reference;
mod switched_unit;
