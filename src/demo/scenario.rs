//! The scene: a small glass workshop's annealing oven.

use std::io;

use chrono::{DateTime, Utc};

use crate::setup::Setup;
use crate::spanned::FileErrors;

/// When the demo begins: 2027-03-04T06:00:00Z.
pub const BEGAN: DateTime<Utc> = match DateTime::from_timestamp(1_804_140_000, 0) {
    Some(time) => time,
    None => DateTime::UNIX_EPOCH,
};

/// The unit number of the demo's controller.
pub(super) const UNIT: u8 = 1;
const SETUP_NAME: &str = "annealing-oven";
const SETUP: &str = include_str!("setup.toml");
const MAP: &str = include_str!("../../configs/maps/annealer.toml");

/// The demo's setup; its line is served by the simulation.
///
/// # Errors
/// None, unless the program was built from damaged files.
pub fn setup() -> Result<Setup, FileErrors> {
    let map_text = |_: &str| -> io::Result<String> { Ok(MAP.to_owned()) };
    Setup::parse(SETUP, "demo setup", SETUP_NAME, &map_text)
}
