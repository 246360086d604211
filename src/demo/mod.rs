//! The whole job on a simulated annealing oven: tuning left over from another oven, a setpoint step,
//! an autotune, the same step again.
//!
//! Everything but the oven is the program itself: real frames on an in-memory wire, the same line,
//! recorder and analysis. It runs in tokio's paused time, so the same seed gives the same bytes.

mod pace;
mod scenario;
mod simulation;
mod story;

pub use pace::Pace;
pub use scenario::{BEGAN, setup};
pub use simulation::{DemoError, Live, Simulation};
pub use story::{Stage, Teller};
