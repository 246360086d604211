//! One owner, many hands: whoever polls a line owns it, and does on it what others ask for.
//!
//! An owner takes a [`Hold`] on each port and on its recording. What decides is a lock that the
//! system takes back when the process ends, however it ends; beside it stands who the owner is and
//! where it listens ([`Owner`]), for others of the same user on the same machine. Whoever wants
//! something looks there ([`reach`]) and asks: a mark, a reading. A question and its answer are one
//! line of JSON each.
//!
//! A socket is a file that only its user may open, in a folder that only its user may enter; on
//! Windows a named pipe, which by the system's own rule only its user may write to.

mod call;
mod hold;
mod owner;
mod place;
mod serve;
mod words;

pub use call::{CallError, Reached, reach};
pub use hold::{Hold, HoldError};
pub use owner::{Key, Owner, announced};
pub use serve::{Served, ServedLine, Server};

#[cfg(test)]
mod tests;
