//! Large digits, readable from two metres.

/// How large.
#[derive(Clone, Copy, Debug, PartialEq, Eq)]
pub(super) enum Size {
    /// Three rows, three columns a digit.
    Three,
    /// Five rows, six columns a digit.
    Five,
}

/// Pixels of a character, five rows of up to three, left first.
fn pixels(character: char) -> [&'static str; 5] {
    match character {
        '0' => ["###", "# #", "# #", "# #", "###"],
        '1' => [" # ", "## ", " # ", " # ", "###"],
        '2' => ["###", "  #", "###", "#  ", "###"],
        '3' => ["###", "  #", "###", "  #", "###"],
        '4' => ["# #", "# #", "###", "  #", "  #"],
        '5' => ["###", "#  ", "###", "  #", "###"],
        '6' => ["###", "#  ", "###", "# #", "###"],
        '7' => ["###", "  #", "  #", "  #", "  #"],
        '8' => ["###", "# #", "###", "# #", "###"],
        '9' => ["###", "# #", "###", "  #", "###"],
        '.' => [" ", " ", " ", " ", "#"],
        '\u{2212}' | '-' => ["   ", "   ", "###", "   ", "   "],
        _ => ["   "; 5],
    }
}

/// The rows of a text in large digits, all equally wide.
pub(super) fn rows(text: &str, size: Size, ascii: bool) -> Vec<String> {
    let lines: Vec<String> = (0..5).map(|row| pixel_row(text, row)).collect();
    match size {
        Size::Five => lines.iter().map(|line| doubled(line, ascii)).collect(),
        // Two pixel rows a line; the first line has only its lower half.
        Size::Three => {
            let blank = " ".repeat(lines[0].len());
            [
                (&blank, &lines[0]),
                (&lines[1], &lines[2]),
                (&lines[3], &lines[4]),
            ]
            .iter()
            .map(|(upper, lower)| halves(upper, lower))
            .collect()
        }
    }
}

fn pixel_row(text: &str, row: usize) -> String {
    let parts: Vec<&str> = text.chars().map(|c| pixels(c)[row]).collect();
    parts.join(" ")
}

fn doubled(line: &str, ascii: bool) -> String {
    let full = if ascii { "##" } else { "██" };
    line.chars()
        .map(|pixel| if pixel == '#' { full } else { "  " })
        .collect()
}

fn halves(upper: &str, lower: &str) -> String {
    upper
        .chars()
        .zip(lower.chars())
        .map(|pair| match pair {
            ('#', '#') => '█',
            ('#', _) => '▀',
            (_, '#') => '▄',
            _ => ' ',
        })
        .collect()
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn three_rows_hold_five_rows_of_pixels() {
        let expected = ["▄▄▄   ▄ ▄", "█▄▄   █▄█", "▄▄█ ▄   █"];
        assert_eq!(rows("5.4", Size::Three, false), expected);
    }

    #[test]
    fn all_rows_are_equally_wide_and_digits_keep_their_column() {
        for text in ["508.4", "111.1", "\u{2212}12.3", "----"] {
            for size in [Size::Three, Size::Five] {
                let widths: Vec<usize> = rows(text, size, false)
                    .iter()
                    .map(|row| row.chars().count())
                    .collect();
                assert!(widths.iter().all(|width| *width == widths[0]), "{text}");
            }
        }
    }
}
