//! The line a problem is on, fit to be printed, with a pointer under it.

use std::ops::Range;

use unicode_width::UnicodeWidthStr;

/// Characters shown of a longer line.
const WIDEST: usize = 120;
/// Characters shown before the place in a line that is cut.
const BEFORE: usize = 60;

/// `line` as printed, and `^` under the bytes of `span` (of which only those inside the line count).
///
/// Control characters are replaced, so that a file cannot move the cursor of a terminal; a line
/// longer than 120 characters is cut around the place, at a cost that does not grow with the line.
pub(super) fn excerpt(line: &str, span: Range<usize>) -> (String, String) {
    let start = span.start.min(line.len());
    let window = window(line, start);
    let before = line.get(window.start..start).unwrap_or_default();
    let meant = line.get(start..span.end.clamp(start, window.end.max(start)));
    let lead = if window.start > 0 { "..." } else { "" };
    let tail = if window.end < line.len() { "..." } else { "" };
    let shown = printable(line.get(window).unwrap_or_default());
    let pad = lead.len() + printable(before).width();
    let carets = printable(meant.unwrap_or_default()).width().max(1);
    let pointer = " ".repeat(pad) + &"^".repeat(carets);
    (format!("{lead}{shown}{tail}"), pointer)
}

/// The bytes of `line` to show: all of a line that is not too wide, else those around `place`.
fn window(line: &str, place: usize) -> Range<usize> {
    if line.chars().nth(WIDEST).is_none() {
        return 0..line.len();
    }
    let back = |from: usize, characters: usize| {
        let before = line.get(..from).unwrap_or_default();
        let start = before.char_indices().rev().nth(characters - 1);
        start.map_or(0, |(at, _)| at)
    };
    let start = back(place, BEFORE).min(back(line.len(), WIDEST));
    let rest = line.get(start..).unwrap_or_default();
    let length = rest
        .char_indices()
        .nth(WIDEST)
        .map_or(rest.len(), |(at, _)| at);
    start..start + length
}

fn printable(text: &str) -> String {
    let replaced = |c| match c {
        '\t' => ' ',
        c if char::is_control(c) || is_unseen(c) => char::REPLACEMENT_CHARACTER,
        c => c,
    };
    text.chars().map(replaced).collect()
}

/// Characters without width, and those that turn the direction of writing.
fn is_unseen(c: char) -> bool {
    matches!(c, '\u{200b}'..='\u{200f}' | '\u{202a}'..='\u{202e}' | '\u{2060}'..='\u{2069}' | '\u{feff}')
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn the_pointer_stands_under_what_is_meant_even_after_wide_characters() {
        let (shown, pointer) = excerpt("u = \"炉\" # x", 10..11);
        assert_eq!(shown, "u = \"炉\" # x");
        assert_eq!(pointer, "         ^");
    }

    #[test]
    fn a_very_long_line_is_cut_around_the_place() {
        let line = format!("{}MEANT{}", "a".repeat(1000), "b".repeat(1000));
        let (shown, pointer) = excerpt(&line, 1000..1005);
        assert_eq!(shown.len(), WIDEST + 6);
        let at = pointer.find('^').unwrap();
        assert_eq!(&shown[at..at + 5], "MEANT");
        assert_eq!(pointer.len(), at + 5);
    }

    #[test]
    fn a_file_cannot_move_the_cursor_of_a_terminal() {
        let (shown, _) = excerpt("a = \"\u{1b}[2J\u{202e}\"", 0..1);
        assert!(!shown.contains(['\u{1b}', '\u{202e}']));
    }
}
