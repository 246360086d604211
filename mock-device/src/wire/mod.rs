//! The serial wire: bytes in, bytes out, on any stream.
//!
//! A [`Bus`] holds the units on one wire. [`serve_rtu`] lets them answer RTU frames on any stream
//! (serial port, pseudo-terminal, TCP connection, memory), [`serve_tcp`] Modbus TCP. As on a real
//! line, a frame for another unit or with a wrong check gets no answer at all. [`Faults`] make it as bad
//! as a real line can be; dropping a serving future unplugs its units, serving again plugs them in.
//! A [`Master`] polls the same units, so that whoever is on the wire hears its requests and the
//! answers to them.

mod adapter;
mod answer;
mod bus;
mod crc;
pub mod faults;
mod frames;
mod gateway;
pub mod listen;
mod master;
#[cfg(unix)]
pub mod pty;
mod rtu;
mod tcp;
mod timing;

pub use adapter::Adapter;
pub use answer::answer;
pub use bus::{Bus, Unit};
pub use crc::{crc, is_sealed, sealed};
pub use faults::{Fault, Faults};
pub use gateway::serve_gateway;
pub use master::{Master, Poll};
pub use rtu::{in_memory, serve_rtu};
pub use tcp::serve_tcp;
pub use timing::Timing;
