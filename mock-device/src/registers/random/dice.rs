//! Drawing lots from a seed, the same on every machine.

use rand::RngExt;
use rand_chacha::ChaCha8Rng;
use rand_chacha::rand_core::SeedableRng;

/// Decides everything about a random layout.
#[derive(Debug)]
pub(super) struct Dice(ChaCha8Rng);

impl Dice {
    pub(super) fn of_seed(seed: u64) -> Self {
        Self(ChaCha8Rng::seed_from_u64(seed))
    }

    /// Whether something happens that happens in so many of a hundred cases.
    pub(super) fn percent(&mut self, chance: u32) -> bool {
        self.0.random_range(0..100) < chance
    }

    /// A number from `low` to `high`, both included.
    pub(super) fn between(&mut self, low: u16, high: u16) -> u16 {
        self.0.random_range(low..=high)
    }

    /// One of several, which must not be none.
    pub(super) fn one_of<T: Copy>(&mut self, choices: &[T]) -> T {
        choices[self.0.random_range(0..choices.len())]
    }

    /// Puts them into any order.
    pub(super) fn shuffle<T>(&mut self, things: &mut [T]) {
        for last in (1..things.len()).rev() {
            things.swap(last, self.0.random_range(0..=last));
        }
    }
}
