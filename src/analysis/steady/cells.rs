//! Figures of every hour of the day and of every day.

use std::collections::BTreeMap;

use super::result::{DayRow, HourRow, RowFigures};

const HOUR_S: f64 = 3600.0;
const HOURS_A_DAY: i64 = 24;

/// Sums over the samples of one hour, one day, or the same hour of all days. Values count from a
/// centre near their mean.
#[derive(Clone, Copy, Debug)]
pub(super) struct Cell {
    count: u64,
    sum: f64,
    squares: f64,
    least: f64,
    greatest: f64,
    pub(super) time_s: f64,
    pub(super) inside_s: f64,
    outputs: u64,
    output_sum: f64,
}

impl Default for Cell {
    fn default() -> Self {
        Self {
            count: 0,
            sum: 0.0,
            squares: 0.0,
            least: f64::INFINITY,
            greatest: f64::NEG_INFINITY,
            time_s: 0.0,
            inside_s: 0.0,
            outputs: 0,
            output_sum: 0.0,
        }
    }
}

impl Cell {
    fn add(&mut self, values: &[f64], outputs: &[f64], centre: f64) {
        for value in values {
            let off = value - centre;
            self.sum += off;
            self.squares += off * off;
            self.least = self.least.min(*value);
            self.greatest = self.greatest.max(*value);
        }
        self.count += values.len() as u64;
        for output in outputs.iter().filter(|it| !it.is_nan()) {
            self.outputs += 1;
            self.output_sum += output;
        }
    }

    fn merge(&mut self, other: &Self) {
        self.count += other.count;
        self.sum += other.sum;
        self.squares += other.squares;
        self.least = self.least.min(other.least);
        self.greatest = self.greatest.max(other.greatest);
        self.time_s += other.time_s;
        self.inside_s += other.inside_s;
        self.outputs += other.outputs;
        self.output_sum += other.output_sum;
    }

    /// The figures, moved by `shift`.
    fn figures(&self, centre: f64, shift: f64, has_band: bool) -> RowFigures {
        let count = self.count as f64;
        let off = self.sum / count;
        let spread = (self.squares - count * off * off).max(0.0);
        RowFigures {
            count: self.count,
            mean: centre + off + shift,
            sd: (self.count > 1).then(|| (spread / (count - 1.0)).sqrt()),
            min: self.least + shift,
            max: self.greatest + shift,
            in_band_pct: (has_band && self.time_s > 0.0)
                .then(|| 100.0 * self.inside_s / self.time_s),
            output_mean: (self.outputs > 0).then(|| self.output_sum / self.outputs as f64),
        }
    }
}

/// The hour that is under way, and those that are over.
#[derive(Clone, Debug, Default)]
pub(super) struct Cells {
    present: Cell,
    /// The hour since 1970, and when it ends in the samples' seconds; without wall time it never ends.
    hour: Option<i64>,
    ends_s: f64,
    /// Wall time, as in the options.
    wall: Vec<(f64, f64)>,
    days: BTreeMap<i64, Cell>,
    hours: [Cell; HOURS_A_DAY as usize],
    all: Cell,
}

impl Cells {
    pub(super) fn new(wall: Vec<(f64, f64)>) -> Self {
        Self {
            wall,
            ends_s: f64::NEG_INFINITY,
            ..Self::default()
        }
    }

    /// Until when samples from `time_s` on belong to one cell, which is made the present one.
    pub(super) fn turn_to(&mut self, time_s: f64) -> f64 {
        if time_s < self.ends_s {
            return self.ends_s;
        }
        self.close();
        let from = self.wall.partition_point(|(from_s, _)| *from_s <= time_s);
        // Before the first known time the first one holds.
        let Some((_, offset)) = self.wall.get(from.saturating_sub(1)) else {
            self.ends_s = f64::INFINITY;
            return self.ends_s;
        };
        let hour = ((time_s + offset) / HOUR_S).floor();
        let next = self
            .wall
            .get(from)
            .map_or(f64::INFINITY, |(from_s, _)| *from_s);
        self.hour = Some(hour as i64);
        self.ends_s = ((hour + 1.0) * HOUR_S - offset).min(next);
        self.ends_s
    }

    /// Samples of the present cell, the time up to them, and how much of it was inside the band.
    pub(super) fn add(
        &mut self,
        values: &[f64],
        outputs: &[f64],
        centre: f64,
        (time_s, inside_s): (f64, f64),
    ) {
        self.present.add(values, outputs, centre);
        self.present.time_s += time_s;
        self.present.inside_s += inside_s;
    }

    fn close(&mut self) {
        let cell = std::mem::take(&mut self.present);
        self.all.merge(&cell);
        if let Some(hour) = self.hour
            && cell.count > 0
        {
            let day = hour.div_euclid(HOURS_A_DAY);
            self.days.entry(day).or_default().merge(&cell);
            self.hours[hour.rem_euclid(HOURS_A_DAY) as usize].merge(&cell);
        }
    }

    /// The sums over everything.
    pub(super) fn all(&mut self) -> Cell {
        self.close();
        self.all
    }

    /// The tables, their figures moved by `shift`.
    pub(super) fn tables(
        mut self,
        centre: f64,
        shift: f64,
        has_band: bool,
    ) -> (Vec<HourRow>, Vec<DayRow>) {
        self.close();
        let hours = (0..).zip(&self.hours).filter(|(_, cell)| cell.count > 0);
        let hours = hours.map(|(hour, cell)| HourRow {
            hour,
            figures: cell.figures(centre, shift, has_band),
        });
        let days = self.days.iter().map(|(day, cell)| DayRow {
            day: *day,
            figures: cell.figures(centre, shift, has_band),
        });
        (hours.collect(), days.collect())
    }
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn samples_come_into_the_hour_and_day_of_their_wall_time() {
        // Second 0 is 23:30 on 1970-01-02; at second 2000 the clock is set back by two hours.
        let offset = 86_400.0 + 23.5 * HOUR_S;
        let mut cells = Cells::new(vec![(0.0, offset), (2000.0, offset - 7200.0)]);
        for (at_s, value) in [(0.0, 1.0), (1799.0, 2.0), (1800.0, 3.0), (2000.0, 4.0)] {
            cells.turn_to(at_s);
            cells.add(&[value], &[f64::NAN], 0.0, (0.0, 0.0));
        }
        let (hours, days) = cells.tables(0.0, 10.0, false);
        let means = |figures: &RowFigures| (figures.count, figures.mean);
        let days: Vec<_> = days.iter().map(|it| (it.day, means(&it.figures))).collect();
        assert_eq!(days, [(1, (3, 7.0 / 3.0 + 10.0)), (2, (1, 13.0))]);
        let hours: Vec<_> = hours
            .iter()
            .map(|it| (it.hour, means(&it.figures)))
            .collect();
        assert_eq!(hours, [(0, (1, 13.0)), (22, (1, 14.0)), (23, (2, 11.5))]);
    }

    #[test]
    fn without_wall_time_there_are_no_tables() {
        let mut cells = Cells::new(Vec::new());
        assert!(cells.turn_to(5.0).is_infinite());
        cells.add(&[1.0], &[50.0], 0.0, (1.0, 1.0));
        assert_eq!(cells.all().count, 1);
        assert_eq!(cells.tables(0.0, 0.0, true), (Vec::new(), Vec::new()));
    }
}
