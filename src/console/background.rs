//! Whether a terminal writes on a light or a dark background.

use std::time::Duration;

use terminal_colorsaurus::{QueryOptions, background_color};

/// The longest wait for a terminal's answer; over a slow link it takes part of a second, and a terminal
/// that knows no colours answers the second question at once.
const LONGEST_WAIT: Duration = Duration::from_secs(1);
/// Half of perceived lightness.
const MIDDLE: f32 = 0.5;
/// White, and the pale grey that is called white where there are eight colours.
const LIGHT: [&str; 2] = ["15", "7"];

/// What a terminal writes on.
#[derive(Clone, Copy, Debug, PartialEq, Eq)]
pub enum Background {
    /// Black, or near it.
    Dark,
    /// White, or near it.
    Light,
}

impl Background {
    /// What the environment says (`COLORFGBG`, which some terminals set to numbers like `0;15`), else what
    /// the terminal answers when asked (OSC 11 of xterm's control sequences); dark where neither tells.
    ///
    /// `variable` looks up a variable of the environment. It may wait a second for the terminal, and must
    /// come before anything else reads keys.
    pub fn detect(variable: impl Fn(&str) -> Option<String>) -> Self {
        Self::told(&variable).unwrap_or_else(Self::asked)
    }

    fn told(variable: &impl Fn(&str) -> Option<String>) -> Option<Self> {
        let colours = variable("COLORFGBG")?;
        let (_, behind) = colours.rsplit_once(';')?;
        behind.parse::<u8>().ok()?;
        Some(if LIGHT.contains(&behind) {
            Self::Light
        } else {
            Self::Dark
        })
    }

    fn asked() -> Self {
        let mut options = QueryOptions::default();
        options.timeout = LONGEST_WAIT;
        match background_color(options) {
            Ok(colour) if colour.perceived_lightness() > MIDDLE => Self::Light,
            _ => Self::Dark,
        }
    }

    /// The other one.
    #[must_use]
    pub fn other(self) -> Self {
        match self {
            Self::Dark => Self::Light,
            Self::Light => Self::Dark,
        }
    }
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn the_environment_tells_the_background() {
        let told = |value: &str| Background::told(&|_| Some(value.to_owned()));
        assert_eq!(told("0;15"), Some(Background::Light));
        assert_eq!(told("0;default;15"), Some(Background::Light));
        assert_eq!(told("15;0"), Some(Background::Dark));
        assert_eq!(told("12;8"), Some(Background::Dark));
        assert_eq!(told("default;default"), None);
        assert_eq!(told(""), None);
        assert_eq!(Background::told(&|_| None), None);
    }
}
