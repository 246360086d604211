use super::super::Span;
use super::*;
use proptest::prelude::*;

fn point(at_s: f64, pv: f32) -> Point {
    Point {
        at_s,
        pv,
        setpoint: 500.0,
        output: pv / 10.0,
    }
}

fn filled(points: &[Point]) -> History {
    let mut history = History::new(1.0);
    for p in points {
        history.push(*p);
    }
    history
}

/// Irregular times (whole steps of 1/128 s, so that packing keeps them exactly) and some gaps.
fn some_points() -> impl Strategy<Value = Vec<Point>> {
    let one = (0_u32..200, prop::option::weighted(0.95, 0_i32..10_000));
    prop::collection::vec(one, 1..3_000).prop_map(|rows| {
        let mut at_s = 0.0;
        let mut points = Vec::new();
        for (steps, tenths) in rows {
            at_s += f64::from(steps) / 128.0;
            points.push(point(at_s, tenths.map_or(f32::NAN, |t| t as f32 / 10.0)));
        }
        points
    })
}

fn by_hand(points: &[Point], from_s: f64, to_s: f64) -> Option<Summary> {
    points
        .iter()
        .filter(|p| p.at_s >= from_s && p.at_s < to_s)
        .map(Summary::of)
        .reduce(Summary::then)
}

proptest! {
    #![proptest_config(ProptestConfig::with_cases(64))]

    #[test]
    fn every_column_has_the_first_last_least_and_greatest_of_its_samples(
        points in some_points(), from in -500_i32..4_000, count in 1_usize..200, width in 1_u32..2_000
    ) {
        let (from_s, width_s) = (f64::from(from), f64::from(width) / 64.0);
        let drawn = filled(&points).columns(from_s, width_s, count);
        for (i, column) in drawn.columns.iter().enumerate() {
            let left = from_s + i as f64 * width_s;
            let right = from_s + (i + 1) as f64 * width_s;
            // NaN differs from itself: compare what would be drawn.
            prop_assert_eq!(format!("{column:?}"), format!("{:?}", by_hand(&points, left, right)));
        }
    }

    #[test]
    fn no_spike_is_hidden_however_far_out(points in some_points(), count in 1_usize..50) {
        let end = points.last().map_or(0.0, |p| p.at_s) + 1.0;
        let drawn = filled(&points).columns(0.0, end / count as f64, count);
        let least = |values: Vec<f32>| values.into_iter().fold(f32::NAN, f32::min);
        let greatest = |values: Vec<f32>| values.into_iter().fold(f32::NAN, f32::max);
        let spans: Vec<Span> = drawn.columns.iter().flatten().map(|s| s.pv).collect();
        let raw: Vec<f32> = points.iter().map(|p| p.pv).collect();
        prop_assert_eq!(
            least(spans.iter().map(|s| s.min).collect()).to_bits(), least(raw.clone()).to_bits());
        prop_assert_eq!(
            greatest(spans.iter().map(|s| s.max).collect()).to_bits(), greatest(raw).to_bits());
    }
}

#[test]
fn a_failed_poll_ends_the_line() {
    let history = filled(&[point(0.0, 1.0), point(1.0, f32::NAN), point(2.0, 3.0)]);
    let drawn = history.columns(0.0, 1.0, 3);
    assert!(drawn.columns[1].unwrap().pv.first.is_nan());
    assert!((drawn.columns[2].unwrap().pv.first - 3.0).abs() < f32::EPSILON);
}

#[test]
fn a_silence_without_rows_is_a_gap_too() {
    let history = filled(&[point(0.0, 1.0), point(60.0, 3.0)]);
    let missing = history.columns(0.0, 10.0, 6).columns[0].unwrap();
    assert!(missing.pv.last.is_nan() && (missing.pv.max - 1.0).abs() < f32::EPSILON);
}

#[test]
fn the_line_knows_where_it_comes_from_and_goes_to() {
    let history = filled(&[point(0.0, 1.0), point(1.0, 2.0), point(2.0, 3.0)]);
    let drawn = history.columns(0.5, 0.25, 1);
    assert_eq!(drawn.before, Some(point(0.0, 1.0)));
    assert_eq!(drawn.columns, [None]);
    assert_eq!(drawn.after, Some(point(1.0, 2.0)));
}

#[test]
fn a_record_has_the_decimals_that_came() {
    let history = filled(&[point(0.0, 510.3), point(1.0, f32::NAN), point(2.0, 20.1)]);
    let record = history.record(0.0, 1);
    assert_eq!(record.pv, [510.3, 20.1]);
    assert_eq!(record.time_s, [0.0, 2.0]);
}
