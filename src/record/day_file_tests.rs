use std::io::Cursor;

use proptest::prelude::*;
use proptest::sample::select;

use super::super::block::BLOCK_ROWS;
use super::*;

const MAP: &str = include_str!("../../configs/maps/annealer.toml");
const HEADER: &str = "time,elapsed_s,state,pv_degC,sp_degC,out_pct,tuning\n";

fn shape() -> Arc<Shape> {
    let map = Arc::new(Map::parse(MAP, "annealer.toml").unwrap());
    let header: Vec<String> = HEADER.trim_end().split(',').map(str::to_owned).collect();
    Arc::new(Shape::new(&map, [header.as_slice()]))
}

/// Everything that a file gives: samples (to the bit), their rows, counts, and the error that ends it.
#[derive(Debug, PartialEq)]
struct Everything {
    samples: Vec<(u64, [u64; 4], bool, Option<State>)>,
    counts: RowCounts,
    error: Option<String>,
}

fn everything(text: &[u8], looks_at_plain_rows: bool, skip_bad: bool) -> Everything {
    let source = Box::new(Cursor::new(text.to_vec()));
    let file = CsvFile::of(Path::new("day.csv"), Writer::Emberline, source).unwrap();
    let mut day = DayFile::of(file, &shape(), skip_bad).unwrap();
    day.looks_at_plain_rows = looks_at_plain_rows;
    let mut found = Everything {
        samples: Vec::new(),
        counts: RowCounts::default(),
        error: None,
    };
    loop {
        match day.next_block(Vec::new()) {
            Ok(Some(block)) => {
                found.counts.add(&block.counts);
                found.samples.extend(block.samples.iter().map(|it| {
                    let numbers = [it.time_s, it.pv, it.setpoint, it.output];
                    let bits = numbers.map(f64::to_bits);
                    (block.first_row, bits, it.autotune, it.state)
                }));
            }
            Ok(None) => return found,
            Err(error) => {
                found.error = Some(error.to_string());
                return found;
            }
        }
    }
}

/// A cell that is mostly as a recorder writes it, and now and then anything else.
fn cell(
    usual: impl Strategy<Value = String> + 'static,
    others: &'static [&'static str],
) -> impl Strategy<Value = String> {
    prop_oneof![60 => usual, 1 => select(others).prop_map(str::to_owned)]
}

fn number() -> impl Strategy<Value = String> {
    let usual = prop_oneof![
        (-9999_i32..9999).prop_map(|tenths| format!("{}.{}", tenths / 10, (tenths % 10).abs())),
        (0_u64..1_000_000_000_000).prop_map(|it| format!("{}.{:06}", it % 1_000, it / 1_000)),
        Just(String::new()),
    ];
    cell(
        usual,
        &[
            "-0.0",
            "NaN",
            "nan",
            "inf",
            "-",
            ".",
            "5.",
            ".5",
            "1e3",
            "+5",
            " 5",
            "5 ",
            "1_0",
            "0x1",
            "\"5.5\"",
            "\"5.5",
            "5\"5",
            "12345678901234567890.5",
            "0.1234567890123456",
            "5\u{0}5",
            "\u{b0}",
            "5,5",
            "9007199254740993",
        ],
    )
}

prop_compose! {
    fn row(second: u32)(
        time in cell(
            (0_u32..1000).prop_map(move |ms| {
                format!("2027-03-04T06:{:02}:{:02}.{ms:03}Z", second / 60 % 60, second % 60)
            }),
            &[
                "2027-03-04T07:00:00.5+01:00", "2016-12-31T23:59:60.000Z", "2027-03-04T06:00:00.0Z",
                "2027-02-30T06:00:00.000Z", "2027-03-04T25:00:00.000Z", "2027-03-04 06:00:00.000Z",
                "", "noon", "\"2027-03-04T06:00:00.000Z\"", "2027-03-04T06:00:0\u{b2}.000Z",
            ],
        ),
        elapsed in cell(
            (0_u32..1000).prop_map(move |ms| format!("{second}.{ms:03}")),
            &["0.000", "7", "5.", ".5", "1e1", "-1", "nan", "", "1.0\u{0}", "99999999999999999.5"],
        ),
        state in cell(
            select(&["good", "good", "partial", "no-answer", "refused"][..]).prop_map(str::to_owned),
            &["", "Good", "of-a-later-version", "\"good\"", "go\u{0}od", "\u{fc}ber"],
        ),
        pv in number(),
        sp in number(),
        out in number(),
        tuning in cell(select(&["0", "1", "16"][..]).prop_map(str::to_owned), &["", "1.0", "x", "\"1\"", "\"1"]),
        shape in cell(Just("{}".to_owned()), &["{},", "", "\n{}", "{}\n\n", ",{}", "{},\"a\nb\""]),
        end in cell(Just("\n".to_owned()), &["\r\n", "\r", ""]),
    ) -> String {
        let row = [time, elapsed, state, pv, sp, out, tuning].join(",");
        shape.replace("{}", &row) + &end
    }
}

fn file() -> impl Strategy<Value = String> {
    let rows = (0_u32..40).prop_flat_map(|rows| (0..rows).map(row).collect::<Vec<_>>());
    rows.prop_map(|rows| HEADER.to_owned() + &rows.concat())
}

proptest! {
    #![proptest_config(ProptestConfig::with_cases(2000))]
    #[test]
    fn rows_read_from_the_bytes_are_those_of_the_csv_parser(text in file(), skip_bad: bool) {
        let (plain, parsed) = (
            everything(text.as_bytes(), true, skip_bad),
            everything(text.as_bytes(), false, skip_bad),
        );
        prop_assert_eq!(plain, parsed);
    }
}

#[test]
fn rows_as_a_recorder_writes_them_need_no_csv_parser() {
    let row = "2027-03-04T06:00:00.012Z,0.012,good,-21.4,510.0,100.0,1\n";
    let mut plain = PlainRows::new(&shape());
    let (sample, length) = plain.row(row.as_bytes(), &shape()).unwrap();
    assert_eq!(length, row.len());
    let numbers = [sample.time_s, sample.pv, sample.setpoint, sample.output];
    let expected = [0.012, -21.4, 510.0, 100.0];
    assert_eq!(numbers.map(f64::to_bits), expected.map(f64::to_bits));
    let row = "2027-03-04T06:00:01.000Z,1.000,no-answer,,,,\n";
    let (sample, length) = plain.row(row.as_bytes(), &shape()).unwrap();
    assert_eq!(length, row.len());
    assert!(sample.pv.is_nan() && !sample.autotune);
}

#[test]
fn blocks_end_and_rows_cross_them_without_a_loss() {
    let rows = 3 * BLOCK_ROWS + 17;
    let row = |n: usize| format!("2027-03-04T06:00:00.000Z,{n}.000,good,{n}.5,,,0\n");
    let text = HEADER.to_owned() + &(0..rows).map(row).collect::<String>();
    let found = everything(text.as_bytes(), true, false);
    assert_eq!(found.samples.len(), rows);
    for (n, (first_row, bits, ..)) in found.samples.iter().enumerate() {
        assert_eq!(*first_row, (n / BLOCK_ROWS * BLOCK_ROWS + 2) as u64);
        assert_eq!(bits[1], (n as f64 + 0.5).to_bits());
    }
}

#[test]
fn a_file_with_other_columns_than_its_map_is_named() {
    let source = Box::new(Cursor::new("time,elapsed_s,state,pv_degC\n"));
    let file = CsvFile::of(Path::new("day.csv"), Writer::Emberline, source).unwrap();
    let error = DayFile::of(file, &shape(), true).err().unwrap();
    assert_eq!(
        error.to_string(),
        "day.csv:1: 4 columns where the recording's map gives 7\n\
         help: the file was altered or damaged; 'emberline verify' tells more, --skip-bad reads on over it"
    );
}
