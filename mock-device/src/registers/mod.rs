//! Register layouts of invented controllers: what the same controller looks like from the wire.

mod annealer;
pub mod counter;
mod floats;
mod setting;

use std::fmt;

use crate::controller::{Controller, Refused};

pub use annealer::Annealer;
pub use floats::Floats;

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
/// key at its front would.
pub trait Layout: fmt::Debug + Send + Sync {
    /// Its name on the command line.
    fn name(&self) -> &'static str;

    /// The register map that goes with it, as emberline reads it.
    fn map_text(&self) -> &'static str;

    /// Longest block of words one request may ask for.
    fn max_words(&self) -> u16;

    /// Whether it answers the diagnostics echo, function 08 sub-function 00.
    fn echoes(&self) -> bool {
        false
    }

    /// Whether it has this table of words at all; reading one it has not is an unknown function.
    fn has_words(&self, table: Words) -> bool;

    /// Whether it has bits at all.
    fn has_bits(&self) -> bool {
        false
    }

    /// The word at `address`; `None` where there is none.
    fn word(&self, controller: &Controller, table: Words, address: u16) -> Option<u16>;

    /// The bit at `address`; `None` where there is none.
    fn bit(&self, _controller: &Controller, _table: Bits, _address: u16) -> Option<bool> {
        None
    }

    /// Writes holding registers from `address` on. On an error the controller may be half changed:
    /// the caller works on a copy.
    ///
    /// # Errors
    /// [`Exception`]; 02 where there is no such register, 03 where it does not take the value.
    fn write_words(
        &self,
        controller: &mut Controller,
        address: u16,
        words: &[u16],
    ) -> Result<(), Exception>;

    /// Writes a coil.
    ///
    /// # Errors
    /// [`Exception`]; 02 where there is no such coil.
    fn write_bit(
        &self,
        _controller: &mut Controller,
        _address: u16,
        _on: bool,
    ) -> Result<(), Exception> {
        Err(Exception::IllegalAddress)
    }
}

/// Every layout there is.
pub static LAYOUTS: [&dyn Layout; 2] = [&Annealer, &Floats];

/// The layout of this name.
pub fn layout(name: &str) -> Option<&'static dyn Layout> {
    LAYOUTS.into_iter().find(|layout| layout.name() == name)
}
