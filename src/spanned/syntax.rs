//! From text to a TOML table, with every syntax error noted.

use std::ops::Range;

use toml::Spanned;
use toml::de::{DeTable, Error};

use super::source::SourceFile;

/// Parses as much of the file as can be understood and notes what cannot, one error a line:
/// the parser often finds several reasons for one slip.
pub(crate) fn parse<'t>(source: &SourceFile<'t>) -> Spanned<DeTable<'t>> {
    let (table, mut errors) = DeTable::parse_recoverable(source.text());
    errors.sort_by_key(start);
    let mut last_line = None;
    for error in &errors {
        source.mark_broken();
        let span = error.span().unwrap_or_default();
        let line = source.line_of(span.start);
        if last_line != Some(line) {
            source.note(span.clone(), what(error), help(source.text(), error, span));
        }
        last_line = Some(line);
    }
    table
}

fn start(error: &Error) -> usize {
    error.span().map_or(0, |span| span.start)
}

fn what(error: &Error) -> String {
    let message = error.message();
    match message {
        _ if message.contains("recursion") || message.contains("recurse") => {
            "tables or lists inside one another too deeply".to_owned()
        }
        _ => message.replace('`', "'"),
    }
}

fn help(text: &str, error: &Error, span: Range<usize>) -> &'static str {
    let message = error.message();
    let rest = text.get(span.start..).unwrap_or_default();
    if message.contains("duplicate key") {
        "this stands in the file twice; keep one of the two"
    } else if message.contains("invalid basic string") || message.contains("invalid literal") {
        "close the text with the same quote it begins with"
    } else if message.contains("must be quoted") {
        "texts stand in double quotes: key = \"text\""
    } else if rest.starts_with(',') {
        "decimals take a point, not a comma: 0.1"
    } else if message.contains("unclosed table") {
        "close the heading with ']'"
    } else if message.contains("array") {
        "a list is written [1, 2], closed on the same or a later line"
    } else if message.contains("leading zero") {
        "write the number without leading zeros, or in double quotes if the zeros matter"
    } else if message.contains("escaped") {
        "write a backslash as two, or put the text in single quotes"
    } else if message.contains("unquoted key") {
        "names have the letters a to z, digits, '_' and '-'"
    } else {
        "a line is [heading], key = value, or # comment; see the examples in configs"
    }
}
