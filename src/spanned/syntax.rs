//! From text to a TOML table, with every syntax error noted.

use toml::Spanned;
use toml::de::{DeTable, Error};

use super::source::SourceFile;

/// Parses as much of the file as can be understood and notes what cannot, one error a line:
/// the parser often finds several reasons for one slip.
pub(super) fn parse<'t>(source: &SourceFile<'t>) -> Spanned<DeTable<'t>> {
    let (table, mut errors) = DeTable::parse_recoverable(source.text());
    errors.sort_by_key(start);
    let mut last_line = None;
    // Under a heading that is there twice, each key may be too: that follows from the heading.
    let mut repeated_until = 0;
    for error in &errors {
        let at = start(error);
        let line = source.line_of(at);
        if is_repetition(error) && source.line(line).trim_start().starts_with('[') {
            let rest = source.text().get(at..).unwrap_or_default();
            repeated_until = at + rest.find("\n[").unwrap_or(rest.len());
        } else if is_repetition(error) && at < repeated_until {
            continue;
        }
        if last_line != Some(line) {
            let (what, help) = described(error, source.text());
            source.note_syntax(error.span().unwrap_or(at..at), what, help);
        }
        last_line = Some(line);
    }
    table
}

fn start(error: &Error) -> usize {
    error.span().map_or(0, |span| span.start)
}

fn is_repetition(error: &Error) -> bool {
    error.message().contains("duplicate key")
}

/// What it means to a person, and what to do, where one of the parts is in the parser's message; the
/// first that fits counts.
const SLIPS: &[(&[&str], &str, &str)] = &[
    (
        &["recurs"],
        "tables or lists inside one another too deeply",
        "no setup or map needs more than a table in a list in a table",
    ),
    (
        &["duplicate key"],
        "this stands in the file a second time",
        "keep one of the two",
    ),
    (
        &["string, expected `\"`", "string, expected `'`"],
        "the text is not closed",
        "end it with the quote it begins with",
    ),
    (
        &["basic string", "literal string"],
        "a character that cannot stand in a text",
        "take it out",
    ),
    (
        &["unclosed array table"],
        "the heading is not closed",
        "end it with ']]'",
    ),
    (
        &["unclosed table"],
        "the heading is not closed",
        "end it with ']'",
    ),
    (
        &["unclosed array"],
        "the list is not closed",
        "end it with ']'",
    ),
    (
        &["unclosed inline table"],
        "the braces are not closed",
        "end them with '}'",
    ),
    (
        &["missing comma between array"],
        "a comma is missing here, or the list above is not closed",
        "values of a list stand apart by commas, and ']' ends it",
    ),
    (
        &["missing comma between key"],
        "a comma is missing here, or the braces above are not closed",
        "what stands in braces stands apart by commas, and '}' ends it",
    ),
    (&["extra comma"], "a comma too many", "take it out"),
    (
        &["extra `=`", "extra assignment"],
        "an '=' too many",
        "take it out",
    ),
    (
        &["missing assignment"],
        "an '=' is missing here",
        "write key = value",
    ),
    (
        &["`=` in array"],
        "an '=' in a list",
        "a table in a list stands in braces: [{ key = value }]",
    ),
    (
        &[
            "float",
            "mantissa",
            "fraction",
            "exponent",
            "integer",
            "number",
            "numeric",
            "between digits",
            "radix",
        ],
        "this is no number",
        "numbers are written 12, -1, 0.5, 1e3 or 0x1F",
    ),
    (
        &["boolean"],
        "this is neither true nor false",
        "write true or false, in small letters",
    ),
    (
        &["date", "time", "month", "day", "hour"],
        "a date that is none",
        "texts stand in double quotes: key = \"text\"",
    ),
    (
        &["comment character"],
        "a control character in a comment",
        "take it out",
    ),
    (
        &["carriage return"],
        "half a line end",
        "save the file with the line ends of one system",
    ),
    (
        &["leading zero"],
        "a number with leading zeros",
        "leave them out, or put the number in double quotes if they matter",
    ),
    (
        &["escape"],
        "a backslash that means nothing",
        "write it twice, or put the text in single quotes",
    ),
    (
        &["unquoted key"],
        "a name that cannot stand without quotes",
        "use letters a to z, digits, '_' and '-'",
    ),
    (
        &["no value", "missing value"],
        "a key without a value",
        "write key = value, or # before a comment",
    ),
    (
        &["unexpected key or value"],
        "something more where the line should end",
        "a line is one key = value; a text with a quote in it stands in the other kind of quotes",
    ),
];

/// What a line may be, where nothing better is known.
const ANY_LINE: &str = "a line is [heading], key = value, or # comment; a list is [1, 2]";

fn described(error: &Error, text: &str) -> (String, &'static str) {
    let rest = text.get(start(error)..).unwrap_or_default();
    let message = error.message();
    let (what, help) = special(message, rest).unwrap_or_else(|| {
        let fits = |parts: &[&str]| parts.iter().any(|part| message.contains(part));
        let slip = SLIPS.iter().find(|(parts, ..)| fits(parts));
        slip.map_or((message, ANY_LINE), |(_, what, help)| (*what, *help))
    });
    (what.replace('`', "'"), help)
}

/// Slips that show only in the text itself.
fn special(message: &str, rest: &str) -> Option<(&'static str, &'static str)> {
    let first = rest.chars().next().unwrap_or('\n');
    if message.contains("unquoted key") && first == '=' {
        return Some(("a key is missing before the '='", "write key = value"));
    }
    if message.contains("unexpected key or value") && first == ',' {
        let what = "a comma where the line should end";
        return Some((what, "decimals take a point: 0.1"));
    }
    if !message.contains("must be quoted") {
        return None;
    }
    let is_empty = rest.trim_start_matches(' ').starts_with(['\r', '\n']);
    Some(match first {
        _ if is_empty => (
            "a key without a value",
            "write the value after the '=', on the same line",
        ),
        '\u{201c}' | '\u{201d}' | '\u{201e}' | '\u{ab}' | '\u{bb}' => (
            "typographic quotes",
            "texts stand in plain double quotes: key = \"text\"",
        ),
        '0'..='9' | '+' | '-' | '.' => (
            "neither a number nor a text in quotes",
            "numbers are written 12, -1, 0.5, 1e3 or 0x1F, and in a list with commas between them",
        ),
        _ => (
            "a text without quotes",
            "texts stand in double quotes: key = \"text\"",
        ),
    })
}
