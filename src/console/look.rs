//! Colours and characters a terminal can show.

use ratatui::style::{Color, Modifier, Style};

use super::background::Background;

/// The styles and characters a screen is drawn with.
///
/// Colours are those of Okabe and Ito, "Color Universal Design" (2008), which people with any kind
/// of colour vision can tell apart. Line style and place say the same a second time.
#[derive(Clone, Copy, Debug, PartialEq, Eq)]
pub struct Look {
    /// Process value: sky blue.
    pub pv: Style,
    /// Setpoint: orange.
    pub setpoint: Style,
    /// Output: bluish green.
    pub output: Style,
    /// What the output reached but did not keep.
    pub output_peak: Style,
    /// What is wrong: vermilion.
    pub trouble: Style,
    /// A person's notes and other events: reddish purple.
    pub mark: Style,
    /// What stands back: axes, units, hints.
    pub quiet: Style,
    /// What stands out.
    pub strong: Style,
    /// A bar across the screen: prompts and captions.
    pub bar: Style,
    /// The band around the setpoint.
    pub band: Style,
    /// Whether only ASCII characters may be used.
    pub ascii: bool,
    depth: Depth,
    background: Background,
}

/// How many colours a terminal has.
#[derive(Clone, Copy, Debug, PartialEq, Eq)]
pub enum Depth {
    /// 24 bits.
    True,
    /// The 256-colour table.
    Indexed,
    /// The 16 names.
    Sixteen,
    /// None, or none wanted.
    None,
}

/// A colour in each depth.
struct Ink {
    rgb: (u8, u8, u8),
    indexed: u8,
    named: Color,
}

const SKY_BLUE: Ink = ink((0x56, 0xB4, 0xE9), 74, Color::LightBlue);
const ORANGE: Ink = ink((0xE6, 0x9F, 0x00), 178, Color::Yellow);
const BLUISH_GREEN: Ink = ink((0x00, 0x9E, 0x73), 36, Color::Green);
const VERMILION: Ink = ink((0xD5, 0x5E, 0x00), 166, Color::LightRed);
const REDDISH_PURPLE: Ink = ink((0xCC, 0x79, 0xA7), 175, Color::LightMagenta);
const GREY: Ink = ink((0x8A, 0x8A, 0x8A), 245, Color::DarkGray);
const DARK_GREEN: Ink = ink((0x00, 0x57, 0x40), 23, Color::DarkGray);
const DARK_BLUE: Ink = ink((0x1C, 0x3A, 0x52), 237, Color::Blue);
const WHITE: Ink = ink((0xF2, 0xF2, 0xF2), 255, Color::White);
/// For light backgrounds.
const BLUE: Ink = ink((0x00, 0x72, 0xB2), 25, Color::Blue);
const DEEP_PURPLE: Ink = ink((0xA8, 0x4A, 0x80), 132, Color::Magenta);
const DEEP_GREY: Ink = ink((0x66, 0x66, 0x66), 241, Color::DarkGray);
const PALE_GREEN: Ink = ink((0x8C, 0xD0, 0xB8), 115, Color::Gray);
const PALE_BLUE: Ink = ink((0xCF, 0xE3, 0xF2), 153, Color::Cyan);
const BLACK: Ink = ink((0x00, 0x00, 0x00), 16, Color::Black);

const fn ink(rgb: (u8, u8, u8), indexed: u8, named: Color) -> Ink {
    Ink {
        rgb,
        indexed,
        named,
    }
}

impl Look {
    /// The look for a terminal with so many colours and a dark background.
    pub fn of(depth: Depth, ascii: bool) -> Self {
        if depth == Depth::None {
            return Self::plain(ascii);
        }
        let fg = |ink: &Ink| Style::new().fg(ink.at(depth));
        Self {
            pv: fg(&SKY_BLUE),
            setpoint: fg(&ORANGE),
            output: fg(&BLUISH_GREEN),
            output_peak: fg(&DARK_GREEN),
            trouble: fg(&VERMILION).add_modifier(Modifier::BOLD),
            mark: fg(&REDDISH_PURPLE),
            quiet: fg(&GREY),
            strong: Style::new().add_modifier(Modifier::BOLD),
            bar: Style::new().fg(WHITE.at(depth)).bg(DARK_BLUE.at(depth)),
            band: fg(&GREY),
            ascii,
            depth,
            background: Background::Dark,
        }
    }

    /// The same look on another background. Orange and sky blue are too pale on white (less than 3 to 1
    /// in luminance, WCAG 2.2, 1.4.11), so there black and blue of the same palette stand for them.
    #[must_use]
    pub fn on(self, background: Background) -> Self {
        let dark = Self::of(self.depth, self.ascii);
        if self.depth == Depth::None || background == Background::Dark {
            return Self { background, ..dark };
        }
        let fg = |ink: &Ink| Style::new().fg(ink.at(self.depth));
        Self {
            pv: fg(&BLUE),
            setpoint: Style::new(),
            output: fg(&BLUISH_GREEN),
            output_peak: fg(&PALE_GREEN),
            mark: fg(&DEEP_PURPLE),
            quiet: fg(&DEEP_GREY),
            bar: Style::new()
                .fg(BLACK.at(self.depth))
                .bg(PALE_BLUE.at(self.depth)),
            band: fg(&DEEP_GREY),
            background,
            ..dark
        }
    }

    pub(super) fn on_the_other_background(self) -> Self {
        self.on(self.background.other())
    }

    /// The look that suits the environment; `variable` looks up one of its variables.
    ///
    /// `NO_COLOR` (any value but empty) and `TERM=dumb` mean no colour; `COLORTERM` says true
    /// colour; `TERM` says 256. A locale that is not UTF-8 means ASCII, except on Windows.
    pub fn detect(variable: impl Fn(&str) -> Option<String>) -> Self {
        Self::of(depth(&variable), !cfg!(windows) && !utf8(&variable))
    }

    fn plain(ascii: bool) -> Self {
        let with = |modifier| Style::new().add_modifier(modifier);
        Self {
            pv: with(Modifier::BOLD),
            setpoint: Style::new(),
            output: Style::new(),
            output_peak: with(Modifier::DIM),
            trouble: with(Modifier::REVERSED),
            mark: with(Modifier::UNDERLINED),
            quiet: with(Modifier::DIM),
            strong: with(Modifier::BOLD),
            bar: with(Modifier::REVERSED),
            band: with(Modifier::DIM),
            ascii,
            depth: Depth::None,
            background: Background::Dark,
        }
    }

    /// One of two texts, by what the terminal can show.
    pub(super) fn choose<'a>(&self, unicode: &'a str, ascii: &'a str) -> &'a str {
        if self.ascii { ascii } else { unicode }
    }
}

impl Ink {
    fn at(&self, depth: Depth) -> Color {
        match depth {
            Depth::True => Color::Rgb(self.rgb.0, self.rgb.1, self.rgb.2),
            Depth::Indexed => Color::Indexed(self.indexed),
            Depth::Sixteen => self.named,
            Depth::None => Color::Reset,
        }
    }
}

fn depth(variable: &impl Fn(&str) -> Option<String>) -> Depth {
    let is = |name: &str, wanted: &[&str]| {
        variable(name).is_some_and(|value| wanted.iter().any(|part| value.contains(part)))
    };
    let unwanted = variable("NO_COLOR").is_some_and(|value| !value.is_empty());
    if unwanted || variable("TERM").is_some_and(|term| term == "dumb") {
        Depth::None
    } else if is("COLORTERM", &["truecolor", "24bit"]) || variable("WT_SESSION").is_some() {
        Depth::True
    } else if is("TERM", &["256color", "direct"]) {
        Depth::Indexed
    } else {
        Depth::Sixteen
    }
}

fn utf8(variable: &impl Fn(&str) -> Option<String>) -> bool {
    // The first that is set and not empty decides (POSIX.1-2024, 8.2).
    ["LC_ALL", "LC_CTYPE", "LANG"]
        .iter()
        .find_map(|name| variable(name).filter(|value| !value.is_empty()))
        .is_some_and(|locale| {
            let locale = locale.to_ascii_lowercase();
            locale.contains("utf-8") || locale.contains("utf8")
        })
}

#[cfg(test)]
mod tests {
    use super::*;

    fn detect(set: &[(&str, &str)]) -> Look {
        Look::detect(|name| {
            set.iter()
                .find(|(known, _)| *known == name)
                .map(|(_, value)| (*value).to_owned())
        })
    }

    #[test]
    fn the_environment_chooses_the_depth() {
        let utf8 = ("LANG", "C.UTF-8");
        let look = detect(&[("COLORTERM", "truecolor"), utf8]);
        assert_eq!(look, Look::of(Depth::True, false));
        let look = detect(&[("TERM", "tmux-256color"), utf8]);
        assert_eq!(look, Look::of(Depth::Indexed, false));
        let look = detect(&[("TERM", "linux"), utf8]);
        assert_eq!(look, Look::of(Depth::Sixteen, false));
    }

    #[test]
    fn no_color_wins_and_uses_no_colour_at_all() {
        let look = detect(&[("NO_COLOR", "1"), ("COLORTERM", "truecolor")]);
        for style in [look.pv, look.setpoint, look.output, look.trouble, look.bar] {
            assert_eq!((style.fg, style.bg), (None, None));
        }
    }

    #[cfg(not(windows))]
    #[test]
    fn a_locale_that_is_not_utf_8_means_ascii() {
        assert!(detect(&[("LANG", "C")]).ascii);
        assert!(detect(&[("LC_ALL", "C"), ("LANG", "de_DE.UTF-8")]).ascii);
        assert!(!detect(&[("LC_ALL", ""), ("LANG", "de_DE.utf8")]).ascii);
    }
}
