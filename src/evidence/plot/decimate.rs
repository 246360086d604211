//! Fewer points that draw the same line: first, last, lowest and highest of each pixel column.
//!
//! Source: U. Jugel, Z. Jerzak, G. Hackenbroich, V. Markl, "M4: a visualization-oriented time
//! series data aggregation", Proceedings of the VLDB Endowment 7 (2014) 797 (cited from memory).

/// A point in pixels.
pub(super) type Point = (f64, f64);

/// The points that matter of a line whose x never decreases, one pixel a column.
pub(super) fn m4(points: &[Point]) -> Vec<Point> {
    let mut kept = Vec::with_capacity(points.len().min(4096));
    for column in points.chunk_by(|a, b| column_of(a) == column_of(b)) {
        keep_extremes(column, &mut kept);
    }
    kept
}

fn column_of(point: &Point) -> i64 {
    point.0.floor() as i64
}

fn keep_extremes(column: &[Point], kept: &mut Vec<Point>) {
    let by_height = |a: &usize, b: &usize| column[*a].1.total_cmp(&column[*b].1);
    let places = 0..column.len();
    let lowest = places.clone().min_by(by_height).unwrap_or(0);
    let highest = places.max_by(by_height).unwrap_or(0);
    let mut chosen = [0, lowest, highest, column.len() - 1];
    chosen.sort_unstable();
    let mut last = None;
    for place in chosen {
        if last != Some(place) {
            kept.push(column[place]);
        }
        last = Some(place);
    }
}

#[cfg(test)]
mod tests {
    use proptest::prelude::*;

    use super::*;

    #[test]
    fn a_single_spike_survives() {
        let mut points: Vec<Point> = (0..10_000).map(|i| (i as f64 / 100.0, 0.0)).collect();
        points[5_057].1 = 80.0;
        let kept = m4(&points);
        assert!(kept.contains(&(50.57, 80.0)));
        assert!(kept.len() <= 4 * 100);
    }

    #[test]
    fn nothing_stays_nothing() {
        assert_eq!(m4(&[]), []);
    }

    proptest! {
        #[test]
        fn every_column_keeps_its_ends_and_extremes(
            heights in prop::collection::vec(-1e3..1e3f64, 1..400),
            per_column in 1usize..50,
        ) {
            let points: Vec<Point> = heights
                .iter()
                .enumerate()
                .map(|(i, y)| (i as f64 / per_column as f64, *y))
                .collect();
            let kept = m4(&points);
            for column in points.chunk_by(|a, b| column_of(a) == column_of(b)) {
                let same: Vec<Point> = kept
                    .iter()
                    .copied()
                    .filter(|p| column_of(p) == column_of(&column[0]))
                    .collect();
                prop_assert!(same.len() <= 4);
                prop_assert_eq!(same.first(), column.first());
                prop_assert_eq!(same.last(), column.last());
                let top = |of: &[Point]| of.iter().map(|p| p.1).fold(f64::MIN, f64::max);
                let bottom = |of: &[Point]| of.iter().map(|p| p.1).fold(f64::MAX, f64::min);
                prop_assert!(top(&same).total_cmp(&top(column)).is_eq());
                prop_assert!(bottom(&same).total_cmp(&bottom(column)).is_eq());
            }
            prop_assert!(kept.windows(2).all(|pair| pair[0].0 <= pair[1].0));
        }
    }
}
