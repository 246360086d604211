//! Register layouts of invented controllers: what the same controller looks like from the wire.
//!
//! A layout is a list of [`Item`]s and a few manners. `unit`, `setting` and `what` say what an item can
//! hold, `coding` how a number becomes words, `sheet` answers by a list of items.

mod unit;
mod setting;
mod what;
mod coding;
mod item;
mod sheet;
mod annealer;
mod bits;
pub mod counter;
mod decimals;
mod floats;
mod locked;
mod manual;
mod random;

use std::fmt;
use std::time::Duration;

use crate::controller::{Controller, Refused};

pub use annealer::Annealer;
pub use bits::StatusBits;
pub use coding::{Encoding, Order, Part};
pub use decimals::DecimalPoint;
pub use floats::Floats;
pub use item::{Access, Broken, Item, Scale, TOP_OF_RANGE, Table};
pub use locked::Locked;
pub use manual::{Manual, Numbering, Says, register_table};
pub use random::Random;
pub use setting::Setting;
pub use unit::{Kind, Unit};
pub use what::{State, What};

/// Why a request is refused: the exception codes of the Modbus application protocol V1.1b3, 7.
#[derive(Clone, Copy, Debug, PartialEq, Eq)]
pub enum Exception {
    /// 01: the function is not known here.
    IllegalFunction,
    /// 02: no such address.
    IllegalAddress,
    /// 03: a value or a count that cannot be.
    IllegalValue,
    /// 04: allowed, but it could not be done.
    DeviceFailure,
}

impl Exception {
    /// As it goes over the wire.
    pub fn code(self) -> u8 {
        match self {
            Self::IllegalFunction => 1,
            Self::IllegalAddress => 2,
            Self::IllegalValue => 3,
            Self::DeviceFailure => 4,
        }
    }
}

impl From<Refused> for Exception {
    fn from(refused: Refused) -> Self {
        match refused {
            Refused::OutOfRange { .. } => Self::IllegalValue,
            Refused::NotNow(_) => Self::DeviceFailure,
        }
    }
}

/// One of the two tables of words.
#[derive(Clone, Copy, Debug, PartialEq, Eq)]
pub enum Words {
    /// Input registers, read only.
    Input,
    /// Holding registers.
    Holding,
}

/// One of the two tables of bits.
#[derive(Clone, Copy, Debug, PartialEq, Eq)]
pub enum Bits {
    /// Discrete inputs, read only.
    Discrete,
    /// Coils.
    Coil,
}

/// A controller as its registers show it. Everything that is written changes the controller as a
/// key at its front would. What is said by [`items`](Self::items) alone need not be said again.
pub trait Layout: fmt::Debug + Send + Sync {
    /// Its name on the command line.
    fn name(&self) -> &str;

    /// The register map that goes with it, as emberline reads it; empty where nobody has written one.
    fn map_text(&self) -> &'static str {
        ""
    }

    /// Its registers and bits.
    fn items(&self) -> &[Item] {
        &[]
    }

    /// The unit in which it gives temperatures, and shows them.
    fn temperature_unit(&self) -> Unit {
        let pv = |item: &&Item| item.what == What::ProcessValue;
        self.items()
            .iter()
            .find(pv)
            .map_or(Unit::DegC, |item| item.unit)
    }

    /// How its manual prints its registers.
    fn manual(&self) -> Manual {
        Manual::default()
    }

    /// Order of the words and bytes of 32-bit values.
    fn order(&self) -> Order {
        Order::default()
    }

    /// Longest block of words one request may ask for.
    fn max_words(&self) -> u16;

    /// What it needs after an answer before it hears the next request; one that comes sooner it
    /// misses.
    fn rest(&self) -> Duration {
        Duration::ZERO
    }

    /// The same after it was written to.
    fn rest_after_write(&self) -> Duration {
        self.rest()
    }

    /// Whether it takes a write only once it was unlocked.
    fn needs_unlocking(&self) -> bool {
        false
    }

    /// Whether it answers the diagnostics echo, function 08 sub-function 00.
    fn echoes(&self) -> bool {
        false
    }

    /// Whether it has this table of words at all; reading one it has not is an unknown function.
    fn has_words(&self, table: Words) -> bool {
        self.items().iter().any(|item| item.table == table.into())
    }

    /// Whether it has bits at all.
    fn has_bits(&self) -> bool {
        self.items().iter().any(|item| item.table.is_bits())
    }

    /// The word at `address`; `None` where there is none.
    fn word(&self, controller: &Controller, table: Words, address: u16) -> Option<u16> {
        sheet::word(self, controller, table.into(), address)
    }

    /// The bit at `address`; `None` where there is none.
    fn bit(&self, controller: &Controller, table: Bits, address: u16) -> Option<bool> {
        sheet::word(self, controller, table.into(), address).map(|word| word != 0)
    }

    /// Writes holding registers from `address` on. On an error the controller may be half changed:
    /// the caller works on a copy.
    ///
    /// # Errors
    /// [`Exception`]; 02 where there is no such register, 03 where it does not take the value, 04
    /// where it does not take it now.
    fn write_words(
        &self,
        controller: &mut Controller,
        address: u16,
        words: &[u16],
    ) -> Result<(), Exception> {
        sheet::write(self, controller, Table::Holding, address, words)
    }

    /// Writes a coil.
    ///
    /// # Errors
    /// As for words.
    fn write_bit(
        &self,
        controller: &mut Controller,
        address: u16,
        on: bool,
    ) -> Result<(), Exception> {
        sheet::write(self, controller, Table::Coil, address, &[on.into()])
    }

    /// Whether this item takes no write before the controller was unlocked.
    fn is_locked_for(&self, item: &Item, controller: &Controller) -> bool {
        self.needs_unlocking()
            && !controller.settings().is_unlocked
            && item.what != What::State(State::WriteAccess)
    }
}

/// Every layout that has a map.
pub static LAYOUTS: [&dyn Layout; 5] = [&Annealer, &Floats, &DecimalPoint, &StatusBits, &Locked];

/// The layout of this name; `random:SEED` is drawn from its seed and stays for as long as the program.
pub fn layout(name: &str) -> Option<&'static dyn Layout> {
    if let Some(seed) = name.strip_prefix("random:") {
        let layout = Random::new(seed.parse().ok()?);
        return Some(Box::leak(Box::new(layout)));
    }
    LAYOUTS.into_iter().find(|layout| layout.name() == name)
}
