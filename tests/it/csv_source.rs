//! CSV files of other recorders, good and bad.

use std::fs;

use emberline::record::{CsvColumns, OpenSource, ReadError, Source, open_source};

fn read_with(bytes: &[u8], columns: &CsvColumns) -> Result<(Source, Vec<String>), ReadError> {
    let folder = tempfile::tempdir().unwrap();
    let path = folder.path().join("oven.csv");
    fs::write(&path, bytes).unwrap();
    let read = open_source(&path, columns).and_then(OpenSource::read);
    read.map_err(|error| ReadError {
        file: "oven.csv".to_owned(),
        ..error
    })
}

fn read(text: &str) -> (Source, Vec<String>) {
    read_with(text.as_bytes(), &CsvColumns::default()).unwrap()
}

fn refused(text: &str) -> String {
    let error = read_with(text.as_bytes(), &CsvColumns::default()).unwrap_err();
    error.to_string()
}

#[test]
fn a_plain_csv_is_one_loop_named_after_its_file() {
    let (source, assumed) = read("t,pv,sp,out\n0,20.5,100,50\n1,21,,\n2,,100,50\n");
    assert_eq!(source.name, "oven.csv");
    let [record] = &source.loops[..] else {
        panic!("one loop");
    };
    assert_eq!(record.name, "oven");
    assert_eq!(record.time_s, [0.0, 1.0]);
    assert_eq!(record.pv, [20.5, 21.0]);
    assert!(record.setpoint.as_ref().unwrap()[1].is_nan());
    assert_eq!(record.rows, 3);
    assert_eq!(record.bad_rows, [("empty".to_owned(), 1)]);
    assert_eq!(assumed.len(), 4);
}

#[test]
fn a_semicolon_file_with_decimal_commas_and_latin_degrees_is_read() {
    let bytes = b"Zeit;Ofen [\xb0C];Soll\r\n0;20,5;100\r\n0,5;20,75;100\r\n";
    let columns = CsvColumns {
        time: Some("Zeit".to_owned()),
        pv: Some("Ofen [\u{b0}C]".to_owned()),
        setpoint: Some("soll".to_owned()),
        ..CsvColumns::default()
    };
    let (source, assumed) = read_with(bytes, &columns).unwrap();
    let record = &source.loops[0];
    assert_eq!(record.time_s, [0.0, 0.5]);
    assert_eq!(record.pv, [20.5, 20.75]);
    assert_eq!(record.unit.as_deref(), Some("\u{b0}C"));
    assert_eq!(assumed, [""; 0]);
}

#[test]
fn wall_time_counts_from_the_first_row() {
    let (source, _) = read("time\tpv\n2027-03-04T06:00:00Z\t20\n2027-03-04T07:00:01.5+01:00\t21\n");
    let record = &source.loops[0];
    assert_eq!(record.time_s, [0.0, 1.5]);
    let began = record.wall.as_ref().unwrap().began;
    assert_eq!(began.to_rfc3339(), "2027-03-04T06:00:00+00:00");
}

#[test]
fn a_day_of_a_recording_is_read_with_its_elapsed_time_and_its_date() {
    let (source, _) = read(
        "time,elapsed_s,state,pv_degC,sp_degC,out_pct,tuning\n\
         2027-03-04T06:00:01.012Z,1.012,good,21.4,510.0,100.0,0\n\
         2027-03-04T06:00:02.000Z,2.000,no-answer,,,,\n",
    );
    let record = &source.loops[0];
    assert_eq!(record.time_s, [1.012]);
    assert_eq!(record.unit.as_deref(), Some("degC"));
    let began = record.wall.as_ref().unwrap().began;
    assert_eq!(began.to_rfc3339(), "2027-03-04T06:00:00+00:00");
}

#[test]
fn wall_time_without_a_zone_is_told() {
    let (_, assumed) = read("time,pv\n2027-03-04 06:00:00,20\n2027-03-04 06:00:01,20\n");
    assert_eq!(
        assumed.last().unwrap(),
        "times do not say their zone and are taken as UTC"
    );
}

#[test]
fn a_damaged_row_is_named_with_file_and_row() {
    assert_eq!(
        refused("t,pv\n0,20\n1\n"),
        "oven.csv:3: 1 cells where the header has 2\n\
         help: the row is torn; --skip-bad reads on over such rows"
    );
    assert_eq!(
        refused("t,pv\n0,20\n1,2o\n"),
        "oven.csv:3: \"2o\" is no number\n\
         help: an empty cell is a missing sample; --skip-bad reads on over such rows"
    );
    assert_eq!(
        refused("t,pv\nsoon,20\n"),
        "oven.csv:2: \"soon\" is no time\n\
         help: a time is RFC 3339 (2027-03-04T06:00:00Z) or a number of seconds; --skip-bad reads on over such rows"
    );
    assert_eq!(
        refused("t,pv\n0,20\n2,20\n1,20\n"),
        "oven.csv:4: time runs backwards, 1 s after 2 s\n\
         help: sort the rows, or cut the file where the clock was set; --skip-bad leaves such rows out"
    );
}

#[test]
fn damaged_rows_are_counted_when_they_are_to_be_skipped() {
    let columns = CsvColumns {
        skip_bad: true,
        ..CsvColumns::default()
    };
    let text = "t,pv\n0,20\n1\n2,2o\n1,\n0.5,20\n4,21\n";
    let (source, _) = read_with(text.as_bytes(), &columns).unwrap();
    let record = &source.loops[0];
    assert_eq!(record.time_s, [0.0, 4.0]);
    let bad = [("unreadable".to_owned(), 3), ("empty".to_owned(), 1)];
    assert_eq!(record.bad_rows, bad);
}

#[test]
fn milliseconds_and_day_numbers_of_a_spreadsheet_are_read() {
    let (source, _) = read("time_ms,pv\n0,20\n1500,21\n");
    assert_eq!(source.loops[0].time_s, [0.0, 1.5]);
    let (source, _) = read("timestamp,pv\n1804140000000,20\n1804140000500,21\n");
    assert_eq!(source.loops[0].time_s, [0.0, 0.5]);
    let (source, assumed) = read("Time;PV\n46450,25;20\n46450,2500115741;21\n46450,291666667;22\n");
    let record = &source.loops[0];
    assert_eq!(record.time_s, [0.0, 1.0, 3600.0]);
    assert_eq!(
        record.wall.as_ref().unwrap().began.to_rfc3339(),
        "2027-03-04T06:00:00+00:00"
    );
    assert!(
        assumed.last().unwrap().contains("day numbers"),
        "{assumed:?}"
    );
}

#[test]
fn repeated_times_are_kept_and_told() {
    let (source, assumed) = read("t,pv\n0,20\n1,21\n1,22\n1,23\n2,24\n");
    assert_eq!(source.loops[0].time_s, [0.0, 1.0, 1.0, 1.0, 2.0]);
    assert_eq!(
        assumed.last().unwrap(),
        "oven: rows with the time of the row above: 2; they count"
    );
}

#[test]
fn nul_bytes_utf_16_and_rows_without_end_are_refused() {
    let (file, help) = ("oven.csv", "help: ");
    assert_eq!(
        refused("t,pv\n0,20\n1,2\0 1\n"),
        "oven.csv:3: there are NUL bytes in the row\n\
         help: the file was altered or damaged there; --skip-bad reads on over such rows"
    );
    let error = read_with(b"\xff\xfet\0,\0p\0v\0", &CsvColumns::default()).unwrap_err();
    assert_eq!(
        error.to_string(),
        format!("{file}: is in UTF-16\n{help}save it as a CSV in UTF-8")
    );
}

#[test]
fn a_header_that_names_a_column_twice_is_refused_where_it_matters() {
    let expected = "oven.csv:1: more than one column is called \"pv\"\n\
                    help: give each column a name of its own in the header";
    assert_eq!(refused("t,pv,pv\n0,20,21\n"), expected);
    let (source, _) = read("t,pv,note,note\n0,20,,\n");
    assert_eq!(source.loops[0].pv, [20.0]);
}

#[test]
fn separators_that_are_not_the_headers_are_told() {
    assert_eq!(
        refused("t;pv;sp\n0,20,100\n"),
        "oven.csv:2: 1 cells where the header has 3\n\
         help: commas stand between its cells, semicolons between the header's"
    );
    assert_eq!(
        refused("t,pv\n0;20\n"),
        "oven.csv:2: 1 cells where the header has 2\n\
         help: semicolons stand between its cells, commas between the header's"
    );
}

#[test]
fn an_open_quote_and_an_endless_row_cost_only_their_lines() {
    let columns = CsvColumns {
        skip_bad: true,
        ..CsvColumns::default()
    };
    let long = "1".repeat(3 << 20);
    let text = format!("t,pv\n0,20\n{long}\n2,22\n3,\"23\n4,24\n");
    assert!(refused(&text).starts_with("oven.csv:3: the row has more than 1048576 bytes\nhelp: "));
    let (source, _) = read_with(text.as_bytes(), &columns).unwrap();
    let record = &source.loops[0];
    assert_eq!(record.time_s, [0.0, 2.0, 4.0]);
    assert_eq!(record.bad_rows, [("unreadable".to_owned(), 2)]);
}

#[test]
fn a_long_cell_is_shown_by_its_beginning() {
    let text = format!("t,pv\n0,{}\n", "x".repeat(500));
    let shown = "x".repeat(40);
    assert!(refused(&text).starts_with(&format!("oven.csv:2: \"{shown}...\" is no number")));
}

#[test]
fn days_and_times_that_follow_another_count_are_damaged_rows() {
    assert_eq!(
        refused("t,pv\n46450.25,20\n46450.2501,21\n99,22\n"),
        "oven.csv:4: the time is no day number of a spreadsheet, as those above are\n\
         help: give each row the same kind of time"
    );
    assert_eq!(
        refused("t,pv\n2027-03-04T06:00:00Z,20\n5,21\n"),
        "oven.csv:3: wall time and seconds are mixed in the time column\n\
         help: give each row the same kind of time"
    );
}

#[test]
fn a_duration_counts_from_the_first_row_whatever_it_says() {
    let (source, _) = read("t,pv\n5,\n6,20\n");
    let record = &source.loops[0];
    assert_eq!((record.first_s, record.time_s[0]), (Some(5.0), 6.0));
}

#[test]
fn a_file_without_a_header_says_what_to_do() {
    assert_eq!(
        refused("0,20\n1,21\n"),
        "oven.csv:1: the first row has only numbers, so the columns have no names\n\
         help: put a header row before it, for example time,pv,sp"
    );
    assert_eq!(
        refused(""),
        "oven.csv: is empty\nhelp: a CSV needs a header row and at least one sample"
    );
}
