//! The live screen: what a loop does, has done, and what a person can do about it now.
//!
//! `session` is what the screen is given; `watched` and `app` keep what it knows; `keys` is what each
//! key does; `doing` finds the sentence that says what a loop is doing; `view` is what is drawn and
//! `draw` draws it. All of these are pure. `run` puts them on a real terminal, with `news` for
//! everything it waits for.

mod session;
mod background;
mod look;
mod words;
mod ticks;
mod digits;
mod pixels;
mod places;
mod swings;
mod rate;
mod watched;
mod episode;
mod danger;
mod cursor;
mod remarks;
mod doing;
mod view;
mod title;
mod app;
mod keys;
mod mouse;
mod draw;
mod terminal;
mod news;
mod run;

pub use app::App;
pub use background::Background;
pub use look::{Depth, Look};
pub use run::run;
pub use session::{
    Ask, Ending, LoopFacts, Recording, ScreenFacts, Session, Story, Written, Zone, local_offset,
};
