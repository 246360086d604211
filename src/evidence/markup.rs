//! A writer of HTML and SVG in which every tag is closed and every text is escaped.

use std::fmt::{Display, Write as _};

/// Attributes of a tag, in the order they are written.
pub(super) type Attributes<'a> = [(&'a str, &'a dyn Display)];

/// A document under construction.
#[derive(Default)]
pub(super) struct Markup {
    out: String,
}

impl Markup {
    /// A tag with something inside.
    pub(super) fn tag(
        &mut self,
        name: &str,
        attributes: &Attributes<'_>,
        inside: impl FnOnce(&mut Self),
    ) {
        self.open(name, attributes);
        self.out.push('>');
        inside(self);
        let _ = write!(self.out, "</{name}>");
    }

    /// A tag with nothing inside.
    pub(super) fn leaf(&mut self, name: &str, attributes: &Attributes<'_>) {
        self.open(name, attributes);
        self.out.push_str("/>");
    }

    /// A tag with only text inside.
    pub(super) fn words(&mut self, name: &str, attributes: &Attributes<'_>, text: &str) {
        self.tag(name, attributes, |inside| inside.text(text));
    }

    /// Text, escaped.
    pub(super) fn text(&mut self, text: &str) {
        escape_into(&mut self.out, text);
    }

    /// Our own text, as it is: the document type and the style sheet.
    pub(super) fn literal(&mut self, text: &'static str) {
        self.out.push_str(text);
    }

    /// A line end, so that the file can be read and compared by line.
    pub(super) fn line(&mut self) {
        self.out.push('\n');
    }

    /// The document.
    pub(super) fn finish(self) -> String {
        self.out
    }

    fn open(&mut self, name: &str, attributes: &Attributes<'_>) {
        self.out.push('<');
        self.out.push_str(name);
        for (key, value) in attributes {
            let _ = write!(self.out, " {key}=\"");
            escape_into(&mut self.out, &value.to_string());
            self.out.push('"');
        }
    }
}

/// A coordinate in a picture: a tenth of a pixel is enough.
#[derive(Clone, Copy)]
pub(super) struct Px(pub(super) f64);

impl Display for Px {
    fn fmt(&self, f: &mut std::fmt::Formatter<'_>) -> std::fmt::Result {
        let tenths = (self.0 * 10.0).round() as i64;
        if tenths % 10 == 0 {
            write!(f, "{}", tenths / 10)
        } else {
            write!(f, "{}", tenths as f64 / 10.0)
        }
    }
}

fn escape_into(out: &mut String, text: &str) {
    for letter in text.chars() {
        match letter {
            '&' => out.push_str("&amp;"),
            '<' => out.push_str("&lt;"),
            '>' => out.push_str("&gt;"),
            '"' => out.push_str("&quot;"),
            '\'' => out.push_str("&#39;"),
            '\n' | '\t' => out.push(' '),
            hidden if is_hidden(hidden) => out.push('\u{fffd}'),
            other => out.push(other),
        }
    }
}

/// Characters that are not allowed in HTML, or that turn the reading direction and so could make a
/// report read differently from what was recorded.
fn is_hidden(letter: char) -> bool {
    letter.is_control() || matches!(letter, '\u{202a}'..='\u{202e}' | '\u{2066}'..='\u{2069}')
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn tags_close_and_text_cannot_break_out() {
        let mut page = Markup::default();
        page.tag("p", &[("title", &"\"><script>")], |p| {
            p.text("a < b & 'c'\u{0}\u{202e}");
        });
        page.leaf("path", &[("d", &Px(1.25))]);
        assert_eq!(
            page.finish(),
            "<p title=\"&quot;&gt;&lt;script&gt;\">a &lt; b &amp; &#39;c&#39;\u{fffd}\u{fffd}</p>\
             <path d=\"1.3\"/>"
        );
    }

    #[test]
    fn coordinates_are_short() {
        assert_eq!(Px(12.0).to_string(), "12");
        assert_eq!(Px(-0.04).to_string(), "0");
        assert_eq!(Px(-0.26).to_string(), "-0.3");
    }
}
