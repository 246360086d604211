use std::io::Cursor;

use super::*;

fn of(writer: Writer, source: impl Read + Send + 'static) -> CsvFile {
    CsvFile::of(Path::new("oven.csv"), writer, Box::new(source)).unwrap()
}

/// The rows with their numbers; of those that cannot be read the first line of the error.
fn rows(writer: Writer, text: &[u8]) -> Vec<(u64, String)> {
    let mut file = of(writer, Cursor::new(text.to_vec()));
    let mut rows = Vec::new();
    while let Some(row) = file.next_row().unwrap() {
        rows.push(match row {
            Ok(row) => (row.number, row.cells.iter().collect::<Vec<_>>().join("|")),
            Err(error) => (error.row.unwrap(), error.what),
        });
    }
    rows
}

fn anybodys(text: &str) -> Vec<(u64, String)> {
    rows(Writer::Anybody, text.as_bytes())
}

fn numbered<const N: usize>(rows: [(u64, &str); N]) -> Vec<(u64, String)> {
    rows.map(|(number, text)| (number, text.to_owned())).into()
}

/// The examples of RFC 4180, section 2, by their numbers there. An example's first row is our header.
#[test]
fn the_examples_of_rfc_4180_are_cells_as_it_says() {
    let expected = numbered([(2, "zzz|yyy|xxx")]);
    for (number, example) in [
        (1, "aaa,bbb,ccc\r\nzzz,yyy,xxx\r\n"),
        (2, "aaa,bbb,ccc\r\nzzz,yyy,xxx"),
        (5, "\"aaa\",\"bbb\",\"ccc\"\r\nzzz,yyy,xxx"),
    ] {
        assert_eq!(anybodys(example), expected, "section 2, {number}");
    }
    let third = "field_name,field_name,field_name\r\naaa,bbb,ccc\r\nzzz,yyy,xxx\r\n";
    let expected = numbered([(2, "aaa|bbb|ccc"), (3, "zzz|yyy|xxx")]);
    assert_eq!(anybodys(third), expected);
    let fourth = of(Writer::Anybody, Cursor::new("aaa,bbb,ccc"));
    assert_eq!(fourth.header(), ["aaa", "bbb", "ccc"]);
    let sixth = of(
        Writer::Anybody,
        Cursor::new("\"aaa\",\"b\r\nbb\",\"ccc\"\r\nzzz,yyy,xxx"),
    );
    assert_eq!(sixth.header(), ["aaa", "b\r\nbb", "ccc"]);
    let seventh = of(Writer::Anybody, Cursor::new("\"aaa\",\"b\"\"bb\",\"ccc\""));
    assert_eq!(seventh.header(), ["aaa", "b\"bb", "ccc"]);
}

#[test]
fn a_row_has_the_number_of_the_line_it_begins_in() {
    let ends = |end: &str| ["t,pv", "0,20", "", "1,\"2", "1\"", "2"].join(end);
    let expected = |end: &str| {
        let long = format!("1|2{end}1");
        numbered([
            (2, "0|20"),
            (4, &long),
            (6, "1 cells where the header has 2"),
        ])
    };
    for end in ["\n", "\r\n", "\r"] {
        assert_eq!(anybodys(&ends(end)), expected(end), "{end:?}");
    }
}

#[test]
fn a_quote_that_is_never_closed_costs_only_its_line() {
    let text = "t,pv\n0,20\n1,\"21\n2,22\n3,23\n";
    let expected = numbered([
        (2, "0|20"),
        (3, "a quote in the row is never closed"),
        (4, "2|22"),
        (5, "3|23"),
    ]);
    assert_eq!(anybodys(text), expected);
    assert_eq!(rows(Writer::Emberline, text.as_bytes()), expected);
    // Another quote closes it, in the wrong place.
    assert_eq!(
        anybodys("t,pv\n0,\"20\n1,21\n2,22\"\n3,23,\"\n4,24\n"),
        numbered([
            (2, "0|20\n1,21\n2,22"),
            (5, "a quote in the row is never closed"),
            (6, "4|24"),
        ])
    );
}

#[test]
fn a_damaged_row_is_told_and_the_next_one_read() {
    let text = b"t,pv\n0,20\n1,2\x001\n2\n\xff,22\n4,24,\n5,25\n6,2";
    let expected = numbered([
        (2, "0|20"),
        (3, "there are NUL bytes in the row"),
        (4, "1 cells where the header has 2"),
        (5, "the row is not UTF-8"),
        (6, "3 cells where the header has 2"),
        (7, "5|25"),
    ]);
    assert_eq!(rows(Writer::Emberline, text), expected);
    let others = rows(Writer::Anybody, text);
    assert_eq!(others[3], (5, "\u{ff}|22".to_owned()));
    assert_eq!(others[6], (8, "6|2".to_owned()));
}

/// A gigabyte without a line end, which nobody has to store.
#[test]
fn a_line_of_a_gigabyte_takes_little_memory_and_costs_no_other_row() {
    let endless = io::repeat(b'1').take(1 << 30);
    let source = Cursor::new("t,pv\n0,20\n")
        .chain(endless)
        .chain(Cursor::new("\n2,22\n"));
    let mut file = of(Writer::Anybody, source);
    assert!(file.next_row().unwrap().unwrap().is_ok());
    let error = file.next_row().unwrap().unwrap().unwrap_err();
    assert_eq!(
        error.to_string(),
        "oven.csv:3: the row has more than 1048576 bytes\n\
         help: a quote that is never closed, or no CSV? --skip-bad reads on behind the line"
    );
    let row = file.next_row().unwrap().unwrap().unwrap();
    assert_eq!((row.number, &row.cells[1]), (4, "22"));
    assert!(file.next_row().unwrap().is_none());
    assert!(file.size() < 8 << 20, "{} bytes", file.size());
}

#[test]
fn an_open_quote_before_more_than_a_megabyte_of_rows_costs_only_its_line() {
    let rows = "1,20\n".repeat(300_000);
    let text = format!("t,pv\n0,20\n0.5,\"20\n{rows}");
    let found = anybodys(&text);
    assert_eq!(found.len(), 300_002);
    assert_eq!(found[1].1, "the row has more than 1048576 bytes");
    assert_eq!(found[2], (4, "1|20".to_owned()));
}
