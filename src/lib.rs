//! Emberline watches, records and judges heating loops that run on panel-mounted temperature
//! controllers, over their Modbus RTU line.
//!
//! The modules stand in the order data flows through them, top to bottom, and know only what
//! stands above them:
//!
//! ```text
//! setup.toml + map.toml           what is wired where, and what its registers mean
//!       |  setup, map             parse once, check everything
//!       v
//!  line                           one task owns one serial line: port -> exchange -> plan -> poll
//!       |
//!       v
//!  Sample, Event, Trace           the only things that flow on: plain data, no I/O
//!       |  notice                 what a stream of samples means at once: autotune began, fault
//!       |            \
//!       v             v
//!  record            trend        to disk (never behind)  /  to the screen (never blocking)
//!       |             |
//!       v             v
//!  analysis                       pure numbers: slices in, results out
//!       |
//!       v
//!  console, evidence, cli         people: the terminal screen, the report, the commands
//! ```
//!
//! `session` ties lines, notice, recorder and listeners together; `hands` lets others ask a running
//! session for something; `demo` ties the whole chain to the simulated oven of the `mock-device` crate.

pub mod clock;
pub mod name;
pub mod number;
pub mod spanned;
pub mod unit;
pub mod figures;
pub mod signals;
pub mod process;
pub mod map;
pub mod setup;
pub mod sample;
pub mod roles;
pub mod trace;
pub mod heat;
pub mod line;
pub mod notice;
pub mod record;
pub mod session;
pub mod hands;
pub mod trend;
pub mod analysis;
pub mod console;
pub mod evidence;
pub mod demo;
pub mod cli;
