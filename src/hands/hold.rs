//! The right to a port or a recording.

use std::fs::{self, File, OpenOptions, TryLockError};
use std::io;
use std::path::{Path, PathBuf};

use super::owner::{Key, Owner};
use super::place::places;

/// Held by this process until it is dropped or the process ends, however it ends.
#[derive(Debug)]
pub struct Hold {
    /// In each place the lock, and where it stands who holds it.
    spots: Vec<(File, PathBuf)>,
}

/// Why something is not held.
#[derive(Debug)]
pub enum HoldError {
    /// Another process holds it; who, if it has said so.
    Taken(Option<Owner>),
    /// This machine gives no place to hold anything in.
    NoPlace(io::Error),
}

impl Hold {
    /// Takes it, and says who has it.
    ///
    /// # Errors
    /// Somebody else has it, or there is no place to say so.
    pub fn take(key: &Key, owner: &Owner) -> Result<Self, HoldError> {
        let places = places().map_err(HoldError::NoPlace)?;
        Self::take_in(&places, key, owner)
    }

    pub(super) fn take_in(places: &[PathBuf], key: &Key, owner: &Owner) -> Result<Self, HoldError> {
        let mut hold = Self { spots: Vec::new() };
        let mut why = None;
        for place in places {
            match hold.take_spot(place, key) {
                Ok(()) => {}
                Err(HoldError::NoPlace(error)) => why = Some(error),
                Err(taken @ HoldError::Taken(_)) => {
                    // What stands there is the other's word.
                    hold.spots.clear();
                    return Err(taken);
                }
            }
        }
        match why {
            Some(error) if hold.spots.is_empty() => Err(HoldError::NoPlace(error)),
            _ => {
                hold.announce(owner);
                Ok(hold)
            }
        }
    }

    fn take_spot(&mut self, place: &Path, key: &Key) -> Result<(), HoldError> {
        // A file of its own: on Windows nobody can read one that is locked.
        let path = place.join(format!("{}.lock", key.stem()));
        let facts = key.facts_in(place);
        let file = OpenOptions::new()
            .create(true)
            .truncate(false)
            .write(true)
            .open(path)
            .map_err(HoldError::NoPlace)?;
        let text = || fs::read_to_string(&facts);
        match file.try_lock() {
            Ok(()) => {}
            Err(TryLockError::WouldBlock) => {
                let owner = text().ok().and_then(|it| serde_json::from_str(&it).ok());
                return Err(HoldError::Taken(owner));
            }
            Err(TryLockError::Error(error)) => return Err(HoldError::NoPlace(error)),
        }
        self.spots.push((file, facts));
        Ok(())
    }

    /// Says anew who has it.
    pub fn announce(&self, owner: &Owner) {
        let Ok(text) = serde_json::to_string(owner) else {
            return;
        };
        for (_, facts) in &self.spots {
            let new = facts.with_extension("new");
            // Whoever reads finds all of it or nothing. Without it the lock still holds; only the
            // owner's name is missing.
            let _ = fs::write(&new, &text).and_then(|()| fs::rename(&new, facts));
        }
    }
}

impl Drop for Hold {
    fn drop(&mut self) {
        for (_, facts) in &self.spots {
            // Before the lock is gone: nobody else has written there yet.
            let _ = fs::remove_file(facts);
        }
    }
}
