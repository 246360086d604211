//! A warning before the disk is full.

use std::time::Duration;

use super::super::growth::{DAY, about};
use super::super::record_error::RecordError;
use super::Recorder;
use crate::sample::Happening;

/// How often it is looked at.
const LOOK_EVERY: Duration = Duration::from_hours(1);
/// Less than this is told.
const LITTLE: Duration = Duration::from_hours(72);

/// Looks at the free space now and then.
#[derive(Debug, Default)]
pub(super) struct SpaceWatch {
    /// When the recording is to end.
    pub(super) end: Option<Duration>,
    next: Duration,
    warned: Option<Duration>,
}

impl Recorder {
    /// Says so when the disk will be full before long, or before the recording's end; at most once a
    /// day.
    pub(super) fn look_at_space(&mut self) -> Result<(), RecordError> {
        let now = self.clock.now().elapsed;
        if now < self.space.next || self.is_in_trouble() {
            return Ok(());
        }
        self.space.next = now + LOOK_EVERY;
        let Some(room) = self.disk.room(&self.folder) else {
            return Ok(());
        };
        let lasts = self.growth.fits_disk(room, now);
        let left = self.space.end.map(|end| end.saturating_sub(now));
        let is_too_short = left.is_some_and(|left| lasts < left);
        if !is_too_short && (lasts >= LITTLE || left.is_some()) {
            self.space.warned = None;
            return Ok(());
        }
        if self.space.warned.is_some_and(|before| now < before + DAY) {
            return Ok(());
        }
        self.space.warned = Some(now);
        let mut text = format!(
            "the disk has room for about {} more: {} are free, and the recording grows by {} a day",
            about(lasts),
            size(room as f64),
            size(self.growth.bytes_a_day(now))
        );
        if let Some(left) = left.filter(|_| is_too_short) {
            text += "; it is to go on for ";
            text += &about(left);
        }
        self.tell(Happening::DiskLow, text)?;
        self.write_out()
    }
}

/// Bytes in a unit that people read.
fn size(bytes: f64) -> String {
    const UNITS: [&str; 4] = ["bytes", "kB", "MB", "GB"];
    let mut unit = 0;
    let mut value = bytes;
    while value >= 1000.0 && unit + 1 < UNITS.len() {
        value /= 1000.0;
        unit += 1;
    }
    let decimals = usize::from(unit > 0 && value < 10.0);
    format!("{value:.decimals$} {}", UNITS[unit])
}
