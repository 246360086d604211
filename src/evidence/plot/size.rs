//! The two sizes every picture is drawn in, and the frame both share.

use crate::evidence::markup::{Markup, Px};

/// A size of picture, in the pixels of its own coordinate system.
#[derive(Clone, Copy, Debug)]
pub(super) struct Size {
    /// Class of the picture, and part of its identifiers.
    pub(super) key: &'static str,
    pub(super) width: f64,
    /// Left edge of the panels; room for the value labels.
    pub(super) left: f64,
    /// Right edge of the panels.
    pub(super) right: f64,
    /// Height of the main panel.
    pub(super) main: f64,
    /// Height of the output lane.
    pub(super) lane: f64,
    /// Size of the text.
    pub(super) font: f64,
    /// Most marks on the time axis.
    pub(super) time_marks: usize,
    /// Most marks on the value axis.
    pub(super) value_marks: usize,
}

/// Above the main panel, for its title.
pub(super) const TOP: f64 = 26.0;
/// Between two panels, for the lower one's title.
pub(super) const BETWEEN: f64 = 34.0;
/// Below the last panel, for the time axis.
pub(super) const BELOW: f64 = 46.0;

/// For a desk and for paper.
pub(super) const WIDE: Size = Size {
    key: "wide",
    width: 900.0,
    left: 52.0,
    right: 892.0,
    main: 300.0,
    lane: 74.0,
    font: 15.0,
    time_marks: 9,
    value_marks: 7,
};

/// For a phone.
pub(super) const NARROW: Size = Size {
    key: "narrow",
    width: 380.0,
    left: 44.0,
    right: 374.0,
    main: 270.0,
    lane: 60.0,
    font: 13.0,
    time_marks: 5,
    value_marks: 7,
};

/// What a picture shows, for those who cannot see it.
pub(super) struct Caption<'a> {
    /// Unique among the pictures of a page.
    pub(super) key: &'a str,
    pub(super) title: &'a str,
    pub(super) description: &'a str,
}

/// Draws a picture in both sizes.
pub(super) fn both(
    page: &mut Markup,
    caption: &Caption<'_>,
    height: impl Fn(Size) -> f64,
    draw: impl Fn(&mut Markup, Size),
) {
    for size in [WIDE, NARROW] {
        let id = format!("{}-{}", caption.key, size.key);
        page.tag(
            "svg",
            &[
                ("class", &size.key),
                (
                    "viewBox",
                    &format!("0 0 {} {}", Px(size.width), Px(height(size))),
                ),
                ("font-size", &Px(size.font)),
                ("role", &"img"),
                ("aria-labelledby", &format!("{id}-title {id}-desc")),
            ],
            |svg| {
                let (title, desc) = (format!("{id}-title"), format!("{id}-desc"));
                svg.words("title", &[("id", &title)], caption.title);
                svg.words("desc", &[("id", &desc)], caption.description);
                draw(svg, size);
            },
        );
        page.line();
    }
}
