//! A simulated oven, its temperature controller and its Modbus RTU wire.
//!
//! Four layers, each usable alone, and the hand of a person:
//!
//! ```text
//! plant          heat balance of a real oven: element, air, load, lining, shell, probe
//!   |
//! controller     PID, time-proportioned output, autotune, limits, alarms
//!   |  oven      the two together, scan by scan
//!   |  panel     the oven in time, and the person at the controller's front
//! registers      the same controller behind several invented register layouts
//!   |
//! wire           RTU frames and Modbus TCP on any stream
//! ```
//!
//! An oven on a wire in memory, for a simulation in tokio's paused time:
//!
//! ```
//! # #[tokio::main(flavor = "current_thread")]
//! # async fn main() {
//! use mock_device::{LEFT_OVER_TUNING, Oven, Panel, registers, wire};
//!
//! let oven = Oven::settled_at(490.0, LEFT_OVER_TUNING, 42);
//! let panel = Panel::new(oven, 1.0);
//! let unit = wire::Unit::new(1, &registers::Annealer, panel.clone());
//! let port = wire::in_memory(wire::Bus::new(vec![unit]));
//! panel.set_setpoint(510.0).unwrap();
//! # drop(port);
//! # }
//! ```

pub mod plant;
pub mod controller;
pub mod oven;
pub mod panel;
pub mod registers;
pub mod wire;

pub use controller::Tuning;
pub use oven::{LEFT_OVER_TUNING, Oven};
pub use panel::{Panel, View};
