//! Points that decide how a loop behaves (its mode, its tuning) where a map polls them with every row:
//! their values in the day files, told like those of slow points.

use std::path::PathBuf;

use super::csv_file::{CsvFile, Writer};
use super::day_file::Shape;
use super::layout::FIXED_COLUMNS;
use super::open_source::{Files, OpenLoop};
use super::read_error::ReadError;
use super::source::RecordedSetting;
use crate::map::{Point, Role};
use crate::number::Number;

/// Whether another value of such a point makes another loop of it.
pub(super) fn decides(role: Role) -> bool {
    matches!(
        role,
        Role::Proportional
            | Role::Integral
            | Role::Derivative
            | Role::Mode
            | Role::ControlMode
            | Role::ControlAction
    )
}

impl OpenLoop {
    /// The slow points whenever they were written down, and those deciding points that are polled with
    /// every row where they first came and where they changed; in the order of time. Where the map has
    /// such points all rows are read for it.
    ///
    /// # Errors
    /// A file that cannot be read. A damaged row is told by whoever reads the samples.
    pub(super) fn all_settings(&self) -> Result<Vec<RecordedSetting>, ReadError> {
        let mut all = self.settings.clone();
        if let Files::Days(files, shape) = &self.rows.files {
            all.extend(of_rows(files, shape)?);
            all.sort_by(|a, b| a.time_s.total_cmp(&b.time_s));
        }
        Ok(all)
    }
}

fn of_rows(files: &[PathBuf], shape: &Shape) -> Result<Vec<RecordedSetting>, ReadError> {
    let points = shape.map().trend_points().enumerate();
    let mut deciding: Vec<(usize, &Point, String)> = points
        .filter(|(_, point)| decides(point.role))
        .map(|(index, point)| (FIXED_COLUMNS.len() + index, point, String::new()))
        .collect();
    let mut found = Vec::new();
    if deciding.is_empty() {
        return Ok(found);
    }
    for path in files {
        let mut file = CsvFile::open(path, Writer::Emberline)?;
        while let Some(row) = file.next_row()? {
            let cells = row.map(|row| row.cells);
            let time_s = cells.as_ref().ok().and_then(|it| it.get(1)?.parse().ok());
            let (Ok(cells), Some(time_s)) = (cells, time_s) else {
                continue;
            };
            for (column, point, last) in &mut deciding {
                let cell = cells.get(*column).unwrap_or_default();
                if !cell.is_empty() && cell != last {
                    let cause = if last.is_empty() { "start" } else { "changed" };
                    found.push(setting(point, time_s, cause, cell));
                    cell.clone_into(last);
                }
            }
        }
    }
    Ok(found)
}

fn setting(point: &Point, time_s: f64, cause: &str, value: &str) -> RecordedSetting {
    let number = value.parse().ok().map(Number::Decimal);
    let meaning = number.and_then(|number| point.in_words(number));
    RecordedSetting {
        time_s,
        cause: cause.to_owned(),
        point: point.name.to_string(),
        role: point.role.word().to_owned(),
        value: value.to_owned(),
        unit: String::new(),
        meaning: meaning.map(str::to_owned),
    }
}
