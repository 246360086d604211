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

/// A part of the parser's message, what it means to a person, and what to do.
const SLIPS: &[(&str, &str, &str)] = &[
    (
        "recurs",
        "tables or lists inside one another too deeply",
        "no setup or map needs more than a table in a list in a table",
    ),
    (
        "duplicate key",
        "this stands in the file a second time",
        "keep one of the two",
    ),
    (
        "string, expected `\"`",
        "the text is not closed",
        "end it with the quote it begins with",
    ),
    (
        "string, expected `'`",
        "the text is not closed",
        "end it with the quote it begins with",
    ),
    (
        "must be quoted",
        "a text without quotes",
        "texts stand in double quotes: key = \"text\"",
    ),
    (
        "unclosed table",
        "the heading is not closed",
        "end it with ']'",
    ),
    (
        "leading zero",
        "a number with leading zeros",
        "leave them out, or put the number in double quotes if they matter",
    ),
    (
        "escaped value",
        "a backslash that means nothing",
        "write it twice, or put the text in single quotes",
    ),
    (
        "unquoted key",
        "a name that cannot stand without quotes",
        "use letters a to z, digits, '_' and '-'",
    ),
    (
        "key with no value",
        "a key without a value",
        "write key = value, or # before a comment",
    ),
];

fn described(error: &Error, text: &str) -> (String, &'static str) {
    let rest = text.get(start(error)..).unwrap_or_default();
    let message = error.message();
    if message.contains("must be quoted") && rest.trim_start_matches(' ').starts_with(['\r', '\n'])
    {
        return (
            "a key without a value".to_owned(),
            "write the value after the '=', on the same line",
        );
    }
    if message.contains("unexpected key or value") && rest.starts_with(',') {
        return (
            "a comma where the line should end".to_owned(),
            "decimals take a point: 0.1",
        );
    }
    match SLIPS.iter().find(|(part, ..)| message.contains(part)) {
        Some((_, what, help)) => ((*what).to_owned(), help),
        None => (
            message.replace(", expected nothing", "").replace('`', "'"),
            "a line is [heading], key = value, or # comment; a list is [1, 2]",
        ),
    }
}
