//! The live screen, drawn into memory: what it looks like, and that no key can break it.
//!
//! The pictures are frozen snapshots. They were looked at on a terminal before they were frozen;
//! `INSTA_UPDATE=always cargo test --test it console` draws them anew.

mod cursor;
mod danger;
mod everywhere;
mod health;
mod mouse;
mod pictures;
mod scene;
mod survival;
mod title;
mod units;
