//! The line a problem is on, fit to be printed, with a pointer under it.

use std::ops::Range;

use unicode_width::UnicodeWidthChar;

/// Characters shown of a longer line.
const WIDEST: usize = 120;
/// Characters shown before the place in a line that is cut.
const BEFORE: usize = 60;

/// `line` as printed, and `^` under the bytes of `span` (of which only those inside the line count).
///
/// Control characters are replaced, so that a file cannot move the cursor of a terminal; a line
/// longer than 120 characters is cut around the place.
pub(super) fn excerpt(line: &str, span: Range<usize>) -> (String, String) {
    let before = line.get(..span.start).unwrap_or(line).chars().count();
    let meant = line
        .get(span.start..span.end.min(line.len()))
        .map_or(0, |text| text.chars().count());
    let characters: Vec<char> = line.chars().map(printable).collect();
    let window = window(characters.len(), before);
    let shown = characters.get(window.clone()).unwrap_or_default();
    let (left, right) = (window.start > 0, window.end < characters.len());
    let lead = if left { "..." } else { "" };
    let tail = if right { "..." } else { "" };
    let start = before - window.start;
    let end = (start + meant).min(shown.len());
    let pad = lead.len() + width(shown.get(..start).unwrap_or_default());
    let carets = width(shown.get(start..end).unwrap_or_default()).max(1);
    let text: String = shown.iter().collect();
    let pointer = " ".repeat(pad) + &"^".repeat(carets);
    (format!("{lead}{text}{tail}"), pointer)
}

fn window(length: usize, place: usize) -> Range<usize> {
    if length <= WIDEST {
        return 0..length;
    }
    let start = place.saturating_sub(BEFORE).min(length - WIDEST);
    start..start + WIDEST
}

fn printable(c: char) -> char {
    match c {
        '\t' => ' ',
        c if c.is_control() => char::REPLACEMENT_CHARACTER,
        c => c,
    }
}

fn width(text: &[char]) -> usize {
    text.iter().filter_map(|c| c.width()).sum()
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
        let (shown, _) = excerpt("a = \"\u{1b}[2J\"", 0..1);
        assert!(!shown.contains('\u{1b}'));
    }
}
